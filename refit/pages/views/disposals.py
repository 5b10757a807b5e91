"""Sold, given and bartered: old gear that left the boat, outside what was ordered; gifts that came, for the insurer."""

from collections.abc import Sequence
from typing import Any

import django_filters
from django.db.models import Q, QuerySet, Sum
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.models import System
from refit.buying.actions import disposals as disposing
from refit.buying.models import Disposal, DisposalKind
from refit.calc.money import from_minor
from refit.carry.sold import gifts_and_second_hand
from refit.pages import lists, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.disposals import DisposalForm
from refit.reports.workbook import Column, Kind

KEYS: lists.Keys = {
    "newest": ["-happened_on", "-id"],
    "what": ["what", "id"],
    "date": ["happened_on", "id"],
    "system": ["system__name", "-happened_on"],
    "amount": ["amount", "-happened_on"],
}
COLUMNS = (
    Column("On", Kind.DATE),
    Column("What became of it"),
    Column("What"),
    Column("System"),
    Column("To whom"),
    Column("Note"),
    Column("Amount", Kind.MONEY),
)
MOST_GIFTS = 200


def _systems(request: Any) -> "QuerySet[System]":
    return System.objects.filter(boat=request.boat).order_by("group", "name")


class DisposalSieve(django_filters.FilterSet):
    """What the list may be narrowed to."""

    find = django_filters.CharFilter(method="look_for", label="Find", max_length=100)
    kind = django_filters.ChoiceFilter(choices=DisposalKind, label="What became of it", empty_label="Any")
    system = django_filters.ModelChoiceFilter(queryset=_systems, label="System", empty_label="Any")

    class Meta:
        model = Disposal
        fields: list[str] = []

    def look_for(self, rows: "QuerySet[Disposal]", name: str, text: str) -> "QuerySet[Disposal]":
        """Return what has the text in what it was, to whom it went, or its note."""
        return rows.filter(Q(what__icontains=text) | Q(buyer__icontains=text) | Q(note__icontains=text))


def disposals(request: Any) -> HttpResponse:
    """List what left the boat and for how much, and what came as a gift or second-hand."""
    rows = Disposal.objects.filter(boat=request.boat).select_related("system", "part")
    listing = lists.sieved(request, DisposalSieve, rows, KEYS)
    file = lists.exported(request, "Sold and given", COLUMNS, listing, _file_rows)
    if file is not None:
        return file
    gifts = gifts_and_second_hand(request.boat)
    context = {
        "filter": listing.filter,
        "page": listing.page,
        "rows": listing.rows,
        "total": listing.all.order_by().aggregate(total=Sum("amount"))["total"] or 0,
        "gifts": gifts[:MOST_GIFTS],
        "worth": sum(line.gift_value or 0 for line in gifts),
    }
    return render(request, "disposals/disposals.html", context)


def new(request: Any) -> HttpResponse:
    """Write down what was sold, given away or bartered."""
    if request.method != "POST":
        form = DisposalForm(
            request.boat,
            initial={"kind": DisposalKind.SOLD, "happened_on": request.today, **_of_part(request)},
        )
        return render(request, "disposals/new.html", {"form": form})
    form = DisposalForm(request.boat, request.POST)
    if form.is_valid():

        def deed() -> Done:
            made = disposing.add_disposal(request.boat, by=request.user, today=request.today, **form.facts())
            said = f"{made.get_kind_display()}: {made.what}"
            if made.amount:
                said += f", {from_minor(made.amount, request.boat.currency):,f} {request.boat.currency}"
            return Done(at(request, "disposals"), f"{said}.", at(request, "disposal-back", made.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "disposals/new.html", {"form": form})


def take_back(request: Any, pk: int) -> HttpResponse:
    """Take it back: it was a mistake."""
    found = seeing.one(Disposal.objects.filter(boat=request.boat).select_related("boat"), pk=pk)

    def deed() -> Done:
        disposing.remove_disposal(found)
        return Done(at(request, "disposals"), f"{found.what} is off the list.")

    return press(request, deed, at(request, "disposals"))


def _of_part(request: Any) -> dict[str, Any]:
    """Return what the form begins with, if the address names a part."""
    asked = request.GET.get("part", "")
    if not (asked.isascii() and asked.isdigit()):
        return {}
    part = seeing.one(seeing.parts(request.member), pk=int(asked) if len(asked) < 19 else -1)
    return {"part": part, "what": part.name, "system": part.system_id}


def _file_rows(rows: list[Disposal]) -> Sequence[Sequence[Any]]:
    return [
        [row.happened_on, row.get_kind_display(), row.what, row.system.name, row.buyer, row.note, row.amount]
        for row in rows
    ]
