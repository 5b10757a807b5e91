"""Spares on board: by system and by place, on screen, on paper for the chart table, and as a spreadsheet."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.identity import identity
from refit.pages.lists import XLSX, attached
from refit.pages.spare_list import by_place, by_system, mark_lacks, spares_of, wrong
from refit.reports.spares import CAUTION, By, spares_pdf, spares_workbook


def spares(request: Any) -> HttpResponse:
    """Show the spares, what is short or out of date first."""
    found = spares_of(request.boat, request.today)
    mark_lacks(request.boat, found, request.today)
    by = _by(request)
    groups = by_place(found) if by is By.PLACE else by_system(found)
    context = {
        "by": by.value,
        "wrong": [(spare, spare.aboard) for spare in wrong(found)],
        "groups": groups,
        "many": len(found),
        "caution": CAUTION if any(spare.sheet.has_out_of_date for spare in found) else "",
    }
    return render(request, "spares/spares.html", context)


def pdf(request: Any) -> HttpResponse:
    """Give the spares as a sheet for the chart table."""
    by = _by(request)
    rows = [spare.sheet for spare in spares_of(request.boat, request.today)]
    sheet = spares_pdf(rows, by, identity=identity(request.boat), as_at=request.today)
    response = HttpResponse(sheet, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{_name(request, by.value)}.pdf"'
    return response


def xlsx(request: Any) -> HttpResponse:
    """Give the spares as a spreadsheet, a sheet by system and one by place."""
    rows = [spare.sheet for spare in spares_of(request.boat, request.today)]
    boat = request.boat
    book = spares_workbook(rows, boat.currency, identity=identity(boat), as_at=request.today)
    return attached(book, f"{_name(request)}.xlsx", XLSX)


def _by(request: Any) -> By:
    return By.PLACE if request.GET.get("by") == "place" else By.SYSTEM


def _name(request: Any, by: str = "") -> str:
    words = [request.boat.slug, "spares", *(["by", by] if by else []), request.today.isoformat()]
    return "-".join(words)
