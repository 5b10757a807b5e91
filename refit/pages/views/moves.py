"""In and out: everything that went in, out and about; its undo; and what is missing."""

from typing import Any
from urllib.parse import urlsplit

import django_filters
from django import forms
from django.db.models import F, Q, Window
from django.db.models.functions import RowNumber
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from refit.boat.models import Boat
from refit.buying.models import DeliveryLine
from refit.pages import seeing
from refit.pages.acting import Done, at, press
from refit.pages.lists import FoldedFilter, exported, listed, sieved
from refit.reports.workbook import Column, Kind
from refit.stores.actions import ledger, stow
from refit.stores.models import DOCUMENTED, Entry, EntryKind, Missing, Movement, Reason

SORTS = {
    "newest": ["-id"],
    "day": ["entry__happened_on", "id"],
    "part": ["part__name", "-id"],
    "from": ["from_place__mark_sort", "-id"],
    "to": ["to_place__mark_sort", "-id"],
    "job": ["job__number", "-id"],
}
COLUMNS = (
    Column("Day", Kind.DATE),
    Column("Written down", Kind.DATE),
    Column("What"),
    Column("Part"),
    Column("Batch"),
    Column("Quantity", Kind.NUMBER),
    Column("Unit"),
    Column("From"),
    Column("To"),
    Column("Level before"),
    Column("Level after"),
    Column("Job", Kind.NUMBER),
    Column("By"),
    Column("Said"),
)
DAY = {"type": "date"}


class MoveSieve(django_filters.FilterSet):
    """How the in-and-out list is narrowed."""

    q = FoldedFilter("part__search", label="Part or number")
    place = FoldedFilter("from_place__folded", "to_place__folded", label="Place")
    job = django_filters.NumberFilter(
        field_name="job__number", label="Job number", widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )
    reason = django_filters.ChoiceFilter(choices=Reason.choices, label="What", empty_label="Anything")
    since = django_filters.DateFilter(
        field_name="entry__happened_on", lookup_expr="gte", label="From", widget=forms.DateInput(attrs=DAY)
    )
    until = django_filters.DateFilter(
        field_name="entry__happened_on", lookup_expr="lte", label="To", widget=forms.DateInput(attrs=DAY)
    )

    class Meta:
        model = Movement
        fields = ()


def moves(request: Any) -> HttpResponse:
    """Show everything that went in and out, the newest first, each deed with its undo while there is one."""
    rows = Movement.objects.for_lists().filter(boat=request.boat).select_related("entry__undone_by")
    listing = sieved(request, MoveSieve, rows, SORTS)
    file = exported(request, "In and out", COLUMNS, listing, _lines)
    if file is not None:
        return file
    context = {
        "listing": listing,
        "filter": listing.filter,
        "rows": _with_undo(request.boat, listing.rows),
        "missing": Missing.objects.filter(boat=request.boat, closed_at=None).count(),
    }
    return render(request, "moves/moves.html", context)


def _with_undo(boat: Boat, movements: list[Movement]) -> list[dict[str, Any]]:
    """Return each movement, the first of a deed with what can be done about the deed."""
    entries = {movement.entry_id for movement in movements}
    orders = dict(
        DeliveryLine.objects.filter(boat=boat, delivery__entry__in=entries).values_list(
            "delivery__entry", "line__order__number"
        )
    )
    rows, seen = [], set()
    for movement in movements:
        entry = movement.entry
        first = entry.pk not in seen
        seen.add(entry.pk)
        undone = hasattr(entry, "undone_by")
        settled = undone or entry.kind == EntryKind.UNDO or entry.kind in DOCUMENTED
        rows.append(
            {
                "move": movement,
                "undone": undone,
                "undo": first and not settled,
                "order": orders.get(entry.pk) if first else None,
            }
        )
    return rows


def _lines(movements: list[Movement]) -> list[list[Any]]:
    return [
        [
            move.entry.happened_on,
            timezone.localtime(move.entry.entered_at).date(),
            move.get_reason_display(),
            move.part.name,
            str(move.lot or ""),
            move.quantity or None,
            move.part.get_unit_display(),
            str(move.from_place or ""),
            str(move.to_place or ""),
            move.level_before,
            move.level_after,
            move.job.number if move.job else None,
            str(move.entry.by.first_name or move.entry.by.get_username()),
            move.entry.said,
        ]
        for move in movements
    ]


def undo(request: Any, entry: int) -> HttpResponse:
    """Undo one deed, and go back to where the button stood."""
    deed = seeing.one(Entry.objects.filter(boat=request.boat).select_related("boat"), pk=entry)
    back = _back(request)

    def undone() -> Done:
        return Done(back, ledger.undo(deed, by=request.user, today=request.today).said)

    return press(request, undone, back)


def _back(request: Any) -> str:
    """Return the page that the button stood on, if it is one of ours that may simply be shown again."""
    came_from = request.META.get("HTTP_REFERER", "")
    if url_has_allowed_host_and_scheme(came_from, {request.get_host()}, require_https=request.is_secure()):
        parts = urlsplit(came_from)
        return f"{parts.path}?{parts.query}" if parts.query else parts.path
    return at(request, "moves")


def missing(request: Any) -> HttpResponse:
    """Show what was not where it was written down, with the last three things that happened to it."""
    rows = Missing.objects.filter(boat=request.boat, closed_at=None).select_related(
        "part", "place", "entry", "entry__by"
    )
    listing = listed(request, rows, {"newest": ["-id"], "part": ["part__name", "id"]})
    last = _last_three(request.boat, {row.part_id for row in listing.rows})
    things = [{"missing": row, "last": last.get(row.part_id, [])} for row in listing.rows]
    return render(request, "moves/missing.html", {"things": things, "listing": listing})


def _last_three(boat: Boat, parts: set[int]) -> dict[int, list[Movement]]:
    """Return, for each part, the last three movements before it was missed."""
    ranked = Window(RowNumber(), partition_by=F("part"), order_by=F("id").desc())
    rows = (
        Movement.objects.for_lists()
        .filter(~Q(entry__kind=EntryKind.MISSING), boat=boat, part__in=parts)
        .annotate(rank=ranked)
        .filter(rank__lte=3)
    )
    found: dict[int, list[Movement]] = {}
    for movement in rows:
        found.setdefault(movement.part_id, []).append(movement)
    return found


def missing_close(request: Any, pk: int) -> HttpResponse:
    """Take a thing off the Missing list: found elsewhere, or given up."""
    thing = seeing.one(Missing.objects.filter(boat=request.boat).select_related("boat", "part"), pk=pk)

    def closed() -> Done:
        stow.found_again(thing)
        again = at(request, "missing-open", thing.pk)
        return Done(at(request, "missing"), f"{thing.part} is off the Missing list.", again)

    return press(request, closed, at(request, "missing"))


def missing_open(request: Any, pk: int) -> HttpResponse:
    """Put a thing back on the Missing list (undo of taking it off)."""
    thing = seeing.one(Missing.objects.filter(boat=request.boat).select_related("boat", "part"), pk=pk)

    def opened() -> Done:
        stow.missed_again(thing)
        return Done(at(request, "missing"), f"{thing.part} is on the Missing list again.")

    return press(request, opened, at(request, "missing"))
