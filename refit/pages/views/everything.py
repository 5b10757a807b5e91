"""All of the boat's data to take away: one workbook, or a folder with the papers."""

import tempfile
from typing import Any

from django.conf import settings
from django.db.models import Count, Sum
from django.http import FileResponse, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render

from refit.boat.models import Paper
from refit.carry.everything import TABLES, folder, write_workbook


def everything(request: Any) -> HttpResponse:
    """Offer the two files, and say what is in them."""
    papers = Paper.objects.filter(boat=request.boat).aggregate(count=Count("pk"), size=Sum("size"))
    context = {"sheets": len(TABLES), "papers": papers["count"], "size": papers["size"] or 0}
    return render(request, "everything/everything.html", context)


def workbook(request: Any) -> HttpResponseBase:
    """Hand over everything as one workbook."""
    # Beside the data, as the machine's own temporary folder may be its memory.
    out = tempfile.TemporaryFile(dir=settings.DATA_DIR)  # noqa: SIM115 - the response closes it
    write_workbook(out, request.boat)
    out.seek(0)
    return FileResponse(out, as_attachment=True, filename=_named(request, "xlsx"))


def archive(request: Any) -> HttpResponseBase:
    """Hand over everything as a zip of csv files and papers, made while it is sent."""
    response = StreamingHttpResponse(folder(request.boat), content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="{_named(request, "zip")}"'
    return response


def _named(request: Any, kind: str) -> str:
    return f"{request.boat.slug}-all-my-data-{request.today.isoformat()}.{kind}"
