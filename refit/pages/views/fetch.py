"""The fetch list: on the phone with a tick for each thing, which takes it at once; on paper."""

from decimal import Decimal, InvalidOperation
from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.identity import identity
from refit.buying.fetching import FetchList, fetch_list
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press
from refit.pages.fetch_list import sheet_rows
from refit.pages.views.needs import job_of
from refit.reports.fetch_sheet import fetch_pdf
from refit.stores.actions.fetching import take_several
from refit.stores.models import Holding
from refit.work.models import Job, State

MOST_JOBS = 40
MOST_AT_ONCE = 200


def of_job(request: Any, number: int) -> HttpResponse:
    """Show what to fetch for one job."""
    return _page(request, [job_of(request, number)])


def of_jobs(request: Any) -> HttpResponse:
    """Show what to fetch for several jobs (`?job=1&job=2`); with none named, for those in hand."""
    return _page(request, _asked(request))


def pdf_of_job(request: Any, number: int) -> HttpResponse:
    """Hand over the fetch list of one job on paper."""
    return _pdf(request, [job_of(request, number)])


def pdf_of_jobs(request: Any) -> HttpResponse:
    """Hand over the fetch list of several jobs on paper."""
    return _pdf(request, _asked(request))


def take(request: Any) -> HttpResponse:
    """Take what was ticked, each for its job: one deed, one undo. `job` in the address leads back to the list."""
    jobs = _asked(request)
    back = _address(request, jobs)

    def deed() -> Done:
        items = _items(request)
        agreed = bool(request.POST.get("agreed"))
        entry = take_several(items, by=request.user, on=request.today, today=request.today, agreed=agreed)
        return Done(back, entry.said, at(request, "entry-undo", entry.pk))

    if not request.htmx:
        return press(request, deed, back)
    form = Form(request.POST)
    act(request, form, deed)
    return render(
        request,
        "fetch/_list.html",
        _context(request, jobs) | {"live": True, "refused": form.non_field_errors()},
    )


def _items(request: Any) -> list[tuple[Holding, Decimal, Job]]:
    """Return what was ticked: `holding:job:quantity`, one or several."""
    asked = []
    for text in request.POST.getlist("take")[:MOST_AT_ONCE]:
        words = text.split(":")
        if len(words) != 3 or not all(word.isascii() for word in words) or not words[0].isdigit():
            raise ValidationError("Look again: this list has changed.", code="no_such")
        asked.append((int(words[0][:18]), words[1], _quantity(words[2])))
    rows = Holding.objects.filter(boat=request.boat, part__in=seeing.parts(request.member).values("pk"))
    held = rows.select_related("part", "lot", "place", "boat").in_bulk([pk for pk, _, _ in asked])
    numbers = [int(number) for _, number, _ in asked if number.isdigit() and len(number) < 10]
    jobs = {job.number: job for job in seeing.jobs(request.member).filter(number__in=numbers)}
    items = []
    for pk, number, quantity in asked:
        job = jobs.get(int(number)) if number.isdigit() and len(number) < 10 else None
        if pk not in held or job is None:
            raise ValidationError("Look again: this list has changed.", code="no_such")
        items.append((held[pk], quantity, job))
    return items


def _quantity(text: str) -> Decimal:
    try:
        many = Decimal(text[:14])
    except InvalidOperation:
        many = Decimal(-1)
    if not many.is_finite() or not 0 < many < 10**6 or many != many.quantize(Decimal("0.001")):
        raise ValidationError("Look again: this list has changed.", code="no_such")
    return many


def _asked(request: Any) -> list[Job]:
    """Return the jobs of the address; with none named those in hand."""
    rows = seeing.jobs(request.member).select_related("boat", "system").order_by("number")
    named = request.GET.getlist("job")[:MOST_JOBS]
    numbers = [int(word) for word in named if word.isascii() and word.isdigit() and len(word) < 10]
    if named:
        return list(rows.filter(number__in=numbers))
    return list(rows.filter(state=State.IN_HAND)[:MOST_JOBS])


def _address(request: Any, jobs: list[Job]) -> str:
    query = urlencode({"job": [job.number for job in jobs]}, doseq=True)
    return f"{at(request, 'fetch')}?{query}"


def _page(request: Any, jobs: list[Job]) -> HttpResponse:
    return render(request, "fetch/fetch.html", _context(request, jobs))


def _context(request: Any, jobs: list[Job]) -> dict[str, Any]:
    query = urlencode({"job": [job.number for job in jobs]}, doseq=True)
    others = seeing.jobs(request.member).open().exclude(pk__in=[job.pk for job in jobs])  # type: ignore[attr-defined]
    in_hand = [job for job in others.order_by("number")[:200] if job.state in (State.IN_HAND, State.READY)]
    return {
        "jobs": jobs,
        "list": fetch_list(request.boat, jobs, request.today) if jobs else FetchList(),
        "query": query,
        "others": in_hand[:12],
    }


def _pdf(request: Any, jobs: list[Job]) -> HttpResponse:
    found = fetch_list(request.boat, jobs, request.today) if jobs else FetchList()
    title = f"Fetch list, job {jobs[0].number}" if len(jobs) == 1 else "Fetch list"
    data = fetch_pdf(sheet_rows(found), identity=identity(request.boat), as_at=request.today, title=title)
    response = HttpResponse(data, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="fetch.pdf"'
    return response
