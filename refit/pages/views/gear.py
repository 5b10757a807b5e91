"""Fitted gear: what is installed, by system, with serial, warranty and the job that fitted it."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.models import System
from refit.calc.text import fold
from refit.pages import lists, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.doing import GearForm
from refit.reports.workbook import Column, Kind
from refit.voyage import actions as acts
from refit.voyage.models import Gear

KEYS: lists.Keys = {
    "system": ["system__group", "system__name", "name"],
    "name": ["name", "id"],
    "serial": ["serial", "id"],
    "fitted": ["fitted_on", "id"],
    "warranty": ["warranty_until", "id"],
    "job": ["job__number", "id"],
}
COLUMNS = (
    Column("What"),
    Column("How many", Kind.NUMBER),
    Column("System"),
    Column("Maker"),
    Column("Model"),
    Column("Serial number"),
    Column("Place"),
    Column("Where"),
    Column("Fitted on", Kind.DATE),
    Column("Job", Kind.NUMBER),
    Column("Warranty until", Kind.DATE),
    Column("Removed on", Kind.DATE),
    Column("Note"),
)
LOOKED_IN = ("name", "maker", "model", "serial", "where", "note")
REMOVED, EVERY = "removed", "all"


def _systems(request: Any) -> "QuerySet[System]":
    gear = Gear.objects.filter(boat=request.boat).values("system")
    return System.objects.filter(boat=request.boat, pk__in=gear).order_by("name")


class GearSieve(django_filters.FilterSet):
    """What the list of gear may be narrowed to; without more, what is fitted now."""

    q = django_filters.CharFilter(
        method="look_for",
        label="Find",
        max_length=100,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    system = django_filters.ModelChoiceFilter(queryset=_systems, label="System", empty_label="All systems")
    state = django_filters.ChoiceFilter(
        label="State", choices=[(REMOVED, "Removed"), (EVERY, "All")], empty_label="Fitted", method="passed"
    )

    class Meta:
        model = Gear
        fields: list[str] = []

    def look_for(self, rows: Any, _: str, text: str) -> Any:
        """Keep what has each word somewhere: name, maker, model, serial, where, note, any number of its part."""
        for word in text.split():
            either = Q()
            for column in LOOKED_IN:
                either |= Q(**{f"{column}__icontains": word})
            if fold(word):
                either |= Q(part__search__contains=fold(word))
            rows = rows.filter(either)
        return rows

    def passed(self, rows: Any, _: str, value: str) -> Any:
        """Keep what was removed, or all."""
        return rows.filter(removed_on__isnull=False) if value == REMOVED else rows

    def filter_queryset(self, queryset: Any) -> Any:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("state") else found.fitted()


def gear(request: Any) -> HttpResponse:
    """List what is fitted."""
    rows = Gear.objects.filter(boat=request.boat).select_related("system", "part", "place", "job")
    listing = lists.sieved(request, GearSieve, rows, KEYS)
    file = lists.exported(request, "Fitted gear", COLUMNS, listing, _file_rows)
    if file is not None:
        return file
    context = {
        "filter": listing.filter,
        "page": listing.page,
        "rows": listing.rows,
        "by_system": request.GET.get("sort", "system") == "system",
        "any": bool(listing.rows) or Gear.objects.filter(boat=request.boat).exists(),
    }
    return render(request, "gear/gear.html", context)


def _file_rows(rows: list[Gear]) -> Sequence[Sequence[Any]]:
    return [
        [
            *(row.name, row.quantity, row.system.name, row.maker, row.model, row.serial),
            *(str(row.place or ""), row.where, row.fitted_on, row.job.number if row.job else None),
            *(row.warranty_until, row.removed_on, row.note),
        ]
        for row in rows
    ]


def _gear(request: Any, pk: int) -> Gear:
    rows = Gear.objects.filter(boat=request.boat).select_related("boat", "system", "part", "place", "job")
    found: Gear = seeing.one(rows, pk=pk)
    return found


def new(request: Any) -> HttpResponse:
    """Write down something that is fitted already."""
    if request.method == "GET":
        return render(request, "gear/form.html", {"form": GearForm(request.boat)})
    form = GearForm(request.boat, request.POST)

    def deed() -> Done:
        made = acts.fit(request.boat, form.as_fitted(None), by=request.user, today=request.today)
        return Done(at(request, "gear"), f"{made} is on the list.", at(request, "gear-remove", made.pk))

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "gear/form.html", {"form": form})


def change(request: Any, gear: int) -> HttpResponse:
    """Put right what is said of a fitted thing; the undo sends what stood before."""
    found = _gear(request, gear)
    start = {
        **{name: getattr(found, name) for name in ("name", "maker", "model", "serial", "where", "note")},
        "system": found.system_id,
        "pieces": found.quantity,
        "place": str(found.place) if found.place else "",
        "fitted_on": found.fitted_on or "",
        "warranty_until": found.warranty_until or "",
    }
    if request.method == "GET":
        return render(
            request, "gear/form.html", {"form": GearForm(request.boat, initial=start), "gear": found}
        )
    form = GearForm(request.boat, request.POST if "name" in request.POST else request.GET)

    def deed() -> Done:
        acts.change_gear(found, form.as_fitted(found.part), today=request.today)
        undo = f"{at(request, 'gear-change', gear)}?{urlencode(start)}"
        return Done(at(request, "gear"), f"{found} is changed.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "gear/form.html", {"form": form, "gear": found})


def removed(request: Any, gear: int) -> HttpResponse:
    """Say that a thing was taken off the boat today."""
    found = _gear(request, gear)

    def deed() -> Done:
        acts.take_out(found, on=request.today, today=request.today)
        return Done(at(request, "gear"), f"{found} is removed.", at(request, "gear-fitted", gear))

    return press(request, deed, at(request, "gear"))


def fitted(request: Any, gear: int) -> HttpResponse:
    """Say that it is on the boat after all."""
    found = _gear(request, gear)

    def deed() -> Done:
        acts.is_fitted(found)
        return Done(at(request, "gear"), f"{found} is fitted.", at(request, "gear-removed", gear))

    return press(request, deed, at(request, "gear"))


def remove(request: Any, gear: int) -> HttpResponse:
    """Take a thing off the record that was entered by mistake (undo)."""
    found = _gear(request, gear)

    def deed() -> Done:
        acts.remove_gear(found)
        return Done(at(request, "gear"), f"{found} is off the list again.")

    return press(request, deed, at(request, "gear"))
