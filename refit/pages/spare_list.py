"""The spares on board as pages and sheets need them: what is aboard and in date, what is short, where it lies.

Decides what counts: ashore and away are not aboard, and what is out of date stands apart.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from refit.boat.models import Boat, Location, System, Where
from refit.pages.part_lists import Row, rows_of
from refit.reports.spares import SparePlace, SpareRow
from refit.stores.models import Companion, Holding, Kept, Level, Part
from refit.stores.reading import Whereabouts, whereabouts

NO_SYSTEM = "No one system"


@dataclass(frozen=True)
class Spare:
    """A spare as the page shows it: the part's row in the lists, and its row on the sheets."""

    row: Row
    sheet: SpareRow

    @property
    def part(self) -> Part:
        return self.row.part

    @property
    def aboard(self) -> list[Holding]:
        """Return what lies aboard, by mark."""
        return aboard(self.row)


@dataclass(frozen=True)
class SpareGroup:
    """Spares under one heading, the worst first; with a place, each with what lies there."""

    heading: str
    spares: list[tuple[Spare, list[Holding]]]
    place: Location | None = None


def aboard(row: Row) -> list[Holding]:
    """Return the holdings of a part that lie aboard."""
    return [held for held in row.where.holdings if held.place.where == Where.ABOARD]


def spares_of(boat: Boat, on: date) -> list[Spare]:
    """Return every spare of the boat by name, in four queries."""
    parts = Part.objects.spares().filter(boat=boat).select_related("system").prefetch_related("numbers")
    return [Spare(row, _sheet(row, on)) for row in rows_of(boat, parts, on)]


def mark_lacks(boat: Boat, spares: Iterable[Spare], on: date) -> None:
    """Give each spare that lies aboard what it needs with it and is not aboard (`lacks`), in two queries."""
    rows = [spare for spare in spares if spare.aboard]
    by_part: dict[int, list[Companion]] = {}
    goes_with = Companion.objects.filter(boat=boat, part__is_spare=True, other__isnull=False)
    for companion in goes_with.select_related("other"):
        by_part.setdefault(companion.part_id, []).append(companion)
    others = {row.other_id or 0: row.other for some in by_part.values() for row in some}
    where = whereabouts(boat, others, on) if others else {}
    for spare in rows:
        found = by_part.get(spare.part.pk, [])
        spare.part.lacks = [  # type: ignore[attr-defined]
            row for row in found if row.other and not lies_aboard(row.other, where[row.other.pk])
        ]


def lies_aboard(part: Part, here: Whereabouts) -> bool:
    """Return whether any of a part is aboard and usable; kept by level: whether it is not gone."""
    if part.kept != Kept.COUNTED:
        return here.level not in ("", Level.GONE)
    return here.aboard > 0


def wrong(spares: Iterable[Spare]) -> list[Spare]:
    """Return the spares that are short or out of date, the short ones first."""
    found = [spare for spare in spares if spare.sheet.state]
    return sorted(found, key=_worst_first)


def by_system(spares: Iterable[Spare]) -> list[SpareGroup]:
    """Return the spares by system, in the order of the systems."""
    groups: dict[System | None, list[Spare]] = {}
    for spare in spares:
        groups.setdefault(spare.part.system, []).append(spare)
    ordered = sorted(
        groups.items(), key=lambda item: (item[0] is None, item[0] and (item[0].group, item[0].name))
    )
    return [
        SpareGroup(
            system.name if system else NO_SYSTEM,
            [(spare, spare.aboard) for spare in sorted(members, key=_worst_first)],
        )
        for system, members in ordered
    ]


def by_place(spares: Iterable[Spare]) -> list[SpareGroup]:
    """Return the spares by the place they lie in, by mark, and last those of which none is aboard."""
    everything = list(spares)
    groups: dict[int, tuple[Location, dict[int, tuple[Spare, list[Holding]]]]] = {}
    for spare in sorted(everything, key=_worst_first):
        for held in spare.aboard:
            _, members = groups.setdefault(held.place_id, (held.place, {}))
            members.setdefault(spare.part.pk, (spare, []))[1].append(held)
    found = [
        SpareGroup(str(place), list(members.values()), place)
        for place, members in sorted(groups.values(), key=lambda group: (group[0].mark_sort, group[0].pk))
    ]
    none: list[tuple[Spare, list[Holding]]] = [
        (spare, []) for spare in sorted(everything, key=_worst_first) if not spare.aboard
    ]
    return [*found, SpareGroup("None aboard", none)] if none else found


def _worst_first(spare: Spare) -> tuple[bool, bool, str]:
    return not spare.sheet.state, not spare.sheet.short, spare.part.name.casefold()


def _sheet(row: Row, on: date) -> SpareRow:
    part, held = row.part, aboard(row)
    counted = part.kept == Kept.COUNTED
    return SpareRow(
        system=part.system.name if part.system else NO_SYSTEM,
        part=part.name,
        number=row.number,
        aboard=row.where.aboard,
        minimum=Decimal(part.minimum) if counted else Decimal(0),
        unit=part.get_unit_display(),
        out_of_date=row.where.out_of_date,
        places=tuple(_place(holding) for holding in held),
        level="" if counted else _level([holding for holding in held if not _past(holding, on)]),
        level_out_of_date=not counted and any(_past(holding, on) for holding in held),
    )


def _place(held: Holding) -> SparePlace:
    area = held.place.area.name if held.place.area else ""
    return SparePlace(
        held.place.plate, area, Decimal(held.quantity), held.lot.expires_on if held.lot else None, held.level
    )


def _level(held: list[Holding]) -> str:
    """Return the best level there is; none where none of it is aboard and in date."""
    rank = ("none", Level.LOW, Level.HERE, Level.FINE)
    return max((holding.level for holding in held if holding.level in rank), key=rank.index, default="none")


def _past(held: Holding, on: date) -> bool:
    return bool(held.lot and held.lot.expires_on and held.lot.expires_on < on)
