"""A job on paper for whoever comes to do it. It carries no prices, so a trade may print its own."""

from typing import Any

from django.http import HttpResponse

from refit.boat.identity import identity
from refit.pages import seeing
from refit.pages.job_sheet import sheet_of
from refit.reports.job_sheet import job_pdf
from refit.work.models import Job


def sheet(request: Any, number: int) -> HttpResponse:
    """Give a job as a sheet."""
    rows = seeing.jobs(request.member).select_related("boat", "system", "given_to__user", "space")
    job: Job = seeing.one(rows, number=number)
    paper = job_pdf(sheet_of(request, job), identity=identity(request.boat), as_at=request.today)
    response = HttpResponse(paper, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{request.boat.slug}-job-{number}.pdf"'
    return response
