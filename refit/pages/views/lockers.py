"""The list of places, and the page of one place that a label leads to."""

from typing import Any

import django_filters
from django import forms
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.models import Kind, Location, Where
from refit.pages import paper_owners, seeing
from refit.pages.bag_page import bag_in
from refit.pages.contents import below, place_page, with_figures
from refit.pages.forms.needs import WantForm
from refit.pages.lists import FoldedFilter, exported, sieved
from refit.reports.workbook import Column
from refit.reports.workbook import Kind as Cell

FEW = 6
SORTS = {
    "mark": ["mark_sort", "name"],
    "area": ["area__mark_sort", "mark_sort"],
    "things": ["things"],
    "counted": ["counted_on"],
}
COLUMNS = (
    Column("Mark"),
    Column("Name"),
    Column("Area"),
    Column("In"),
    Column("Kind"),
    Column("Label"),
    Column("Things", Cell.NUMBER),
    Column("Last counted", Cell.DATE),
    Column("Cautions", Cell.NUMBER),
    Column("Note"),
)


class PlaceSieve(django_filters.FilterSet):
    """How the list of places is narrowed."""

    q = FoldedFilter("folded", "area__folded", label="Mark, name or area")
    kind = django_filters.ChoiceFilter(
        choices=[(kind.value, kind.label) for kind in (Kind.LOCKER, Kind.BOX, Kind.BAG)], empty_label="Any"
    )
    where = django_filters.ChoiceFilter(choices=Where.choices, empty_label="Anywhere")
    uncounted = django_filters.DateFilter(
        method="not_since", label="Not counted since", widget=forms.DateInput(attrs={"type": "date"})
    )

    class Meta:
        model = Location
        fields = ()

    def not_since(self, places: Any, name: str, value: Any) -> Any:
        return places.filter(Q(counted_on=None) | Q(counted_on__lt=value))


def lockers(request: Any) -> HttpResponse:
    """Show all places by area, or those asked for as a list that sorts."""
    seen = seeing.places(request.member).in_use().select_related("area", "parent")  # type: ignore[attr-defined]
    held = seeing.holdings(request.member)
    figured = with_figures(seen, held).annotate(cautions_here=Count("cautions", distinct=True))
    if request.GET:
        found = figured.exclude(kind__in=[Kind.AREA, Kind.UNSTOWED])
        listing = sieved(request, PlaceSieve, found, SORTS)
        file = exported(request, "Places", COLUMNS, listing, _lines)
        return file or render(request, "lockers/list.html", {"listing": listing, "filter": listing.filter})
    return render(request, "lockers/lockers.html", _by_area(list(figured.by_mark())))  # type: ignore[attr-defined]


def _by_area(places: list[Location]) -> dict[str, Any]:
    """Return the places in their areas, each box after the locker it is in; what is not stowed apart."""
    tops = {place.pk: place for place in places if place.kind == Kind.AREA}
    for place in places:  # a trade sees places whose area it does not
        if place.area and place.area_id:
            tops.setdefault(place.area_id, place.area)
    spots = [place for place in places if place.kind not in (Kind.AREA, Kind.UNSTOWED)]
    known = {place.pk for place in spots}
    areas = []
    for top in sorted(tops.values(), key=lambda area: (area.where != Where.ABOARD, area.mark_sort)):
        own = [place for place in spots if place.area_id == top.pk]
        first = [place for place in own if place.parent_id not in known]
        areas.append((top, [spot for place in first for spot in (place, *below(place.pk, own))]))
    return {
        "areas": areas,
        "count": len(spots),
        "few": len(spots) < FEW,
        "unstowed": next((place for place in places if place.kind == Kind.UNSTOWED), None),
    }


def _lines(places: list[Location]) -> list[list[Any]]:
    return [
        [
            place.mark,
            place.name,
            str(place.area or ""),
            str(place.parent or ""),
            place.get_kind_display(),
            place.code,
            place.things,  # type: ignore[attr-defined]
            place.counted_on,  # type: ignore[attr-defined]
            place.cautions_here,  # type: ignore[attr-defined]
            place.note,
        ]
        for place in places
    ]


def locker(request: Any, code: str) -> HttpResponse:
    """Show one place: what lies there and in its boxes, and what can be done about it."""
    place = seeing.place_by_code(request.member, code)
    page = place_page(request.member, place, request.today)
    kept = paper_owners.kept_of(request, "place", place)
    context = {"page": page, "place": place, "kept": kept}
    if place.kind == Kind.BAG:
        context |= {"bagged": bag_in(request.member, place), "need_form": WantForm(request.boat)}
    return render(request, "lockers/locker.html", context)
