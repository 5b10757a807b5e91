"""Reading the stores: where a part is, what a place holds, what runs out.

Answers with plain values; decides nothing about who may see them.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import F, OuterRef, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location, Where
from refit.calc.text import fold
from refit.stores.models import GOOD_CONDITIONS, Count, Holding, Level, Part, SetAside, usable

NIL = Decimal(0)


@dataclass
class Whereabouts:
    """Where one part is: the holdings, and how many aboard (usable or out of date), ashore and away."""

    holdings: list[Holding] = field(default_factory=list)
    aboard: Decimal = NIL
    out_of_date: Decimal = NIL
    ashore: Decimal = NIL
    away: Decimal = NIL
    aside: Decimal = NIL  # there, but going back: not usable, and in none of the sums above
    unfit: Decimal = NIL  # to overhaul, scrap or incomplete: not usable either
    level: str = ""  # for what is kept by level or just here: the best level aboard
    usable: list[tuple[Holding, Decimal]] = field(default_factory=list)  # where to take how much, away last


def whereabouts(boat: Boat, parts: Iterable[int], on: date) -> dict[int, Whereabouts]:
    """Return where each of these parts is, in one query."""
    found: dict[int, Whereabouts] = {pk: Whereabouts() for pk in parts}
    held = (
        with_aside(Holding.objects.there())
        .filter(boat=boat, part_id__in=list(found))
        .select_related("place", "place__area", "lot")
        .order_by("place__mark_sort", "id")
    )
    rank = ["", Level.GONE, Level.LOW, Level.HERE, Level.FINE]
    for holding in held:
        here = found[holding.part_id]
        here.holdings.append(holding)
        if rank.index(holding.level) > rank.index(here.level):
            here.level = holding.level
        free = holding.quantity - holding.aside
        here.aside += holding.aside
        if holding.lot and holding.lot.condition not in GOOD_CONDITIONS:
            here.unfit += free
            continue
        runs_out = holding.lot.expires_on if holding.lot and holding.place.where == Where.ABOARD else None
        late = runs_out is not None and runs_out < on
        if not late and (free > 0 or holding.level):
            here.usable.append((holding, free))
        if holding.place.where == Where.AWAY:
            here.away += free
        elif holding.place.where == Where.ASHORE:
            here.ashore += free
        elif late:
            here.out_of_date += free
        else:
            here.aboard += free
    for here in found.values():  # what lies here is taken before what would have to be sent for
        here.usable.sort(key=lambda spot: spot[0].place.where == Where.AWAY)
    return found


def with_aside(holdings: "QuerySet[Holding]") -> "QuerySet[Any]":
    """Name how much of each holding is set aside (`aside`): it lies there and may not be used."""
    rows = SetAside.objects.filter(holding=OuterRef("pk"), closed_at=None).order_by().values("holding")
    total = rows.annotate(total=Sum("quantity", output_field=QuantityField())).values("total")
    nothing = Value(NIL, output_field=QuantityField())
    return holdings.annotate(aside=Coalesce(Subquery(total), nothing))


def usable_aboard(part: Part, on: date) -> Decimal:
    """Return how much of a part is aboard and not out of date."""
    return usable_aboard_of([part.pk], on).get(part.pk, NIL)


def usable_aboard_of(parts: Iterable[int], on: date) -> dict[int, Decimal]:
    """Return how much of each part is aboard, not out of date and not set aside; parts with none are left out."""
    rows = (
        usable(Holding.objects.aboard().filter(part_id__in=list(parts)), on)
        .order_by()
        .values_list("part_id")
        .annotate(total=Sum("quantity"))
    )
    found = dict(rows)
    aside = (
        SetAside.objects.filter(
            closed_at=None, holding__part_id__in=list(found), holding__place__where=Where.ABOARD
        )
        .order_by()
        .values_list("holding__part_id")
        .annotate(total=Sum("quantity"))
    )
    for part, total in aside:
        found[part] -= total
    return found


def contents(place: Location) -> list[Holding]:
    """Return what lies in a place and in the boxes and bags in it, the place itself first."""
    ids = [place.pk, *(child.pk for child in inside(place))]
    return list(
        Holding.objects.there()
        .filter(place_id__in=ids)
        .select_related("part", "part__system", "lot", "place")
        .order_by("place__mark_sort", "part__name", "id")
    )


def inside(place: Location) -> list[Location]:
    """Return the places in use inside this one, at any depth, by mark."""
    children: dict[int | None, list[Location]] = {}
    for other in Location.objects.in_use().filter(boat_id=place.boat_id).by_mark():
        children.setdefault(other.parent_id, []).append(other)
    found: list[Location] = []
    queue = list(children.get(place.pk, []))
    while queue:
        child = queue.pop(0)
        found.append(child)
        queue = children.get(child.pk, []) + queue
    return found


def last_counted(place: Location) -> date | None:
    """Return the day of the place's last count that stands."""
    return (
        Count.objects.filter(place=place, entry__undone_by=None)
        .order_by("-counted_on")
        .values_list("counted_on", flat=True)
        .first()
    )


def below_minimum(boat: Boat, on: date) -> list[tuple[Part, Decimal]]:
    """Return the spares of which less than the least is aboard, with what there is."""
    parts = list(Part.objects.spares().filter(boat=boat, minimum__gt=0).select_related("system"))
    aboard = usable_aboard_of([part.pk for part in parts], on)
    return [(part, aboard.get(part.pk, NIL)) for part in parts if aboard.get(part.pk, NIL) < part.minimum]


def out_of_date(boat: Boat, on: date) -> list[Holding]:
    """Return what lies somewhere although its date has passed, the oldest first."""
    return list(
        Holding.objects.there()
        .filter(boat=boat, lot__expires_on__lt=on)
        .select_related("part", "lot", "place", "place__area")
        .order_by(F("lot__expires_on"), "id")
    )


def parts_named(boat: Boat, text: str, most: int = 8) -> list[Part]:
    """Return parts whose name, specification or any number holds the text (folded), the best first."""
    words = [fold(word) for word in text.split()] if text else []
    whole = fold(text)
    if len(whole) < 2:
        return []
    exact = Part.objects.in_use().filter(boat=boat, search__contains=whole)
    found = list(exact.order_by("name", "id")[:most])
    if len(found) < most and len(words) > 1:
        loose = Part.objects.in_use().filter(boat=boat).exclude(pk__in=[part.pk for part in found])
        for word in words:
            loose = loose.filter(search__contains=word)
        found += list(loose.order_by("name", "id")[: most - len(found)])
    found.sort(key=lambda part: (not part.search.startswith(whole), part.name))
    return found
