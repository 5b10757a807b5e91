"""The fetch list: what to take from which place for one job or several, from the bow to the stern.

Decides which of what lies about is taken: what is kept for another job is left alone, a piece must be long enough.
Reads in a number of queries that does not grow with the jobs.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from refit.boat.models import Boat, Location, PlaceCaution, Where
from refit.buying.reading import Wanted, wanted
from refit.pages.contents import NOT_TO_BLOCK
from refit.pages.part_lists import first_number
from refit.reports.fetch_sheet import FetchRow
from refit.stores.actions.pieces import is_piece
from refit.stores.amounts import amount
from refit.stores.kept import Kept, kept_for
from refit.stores.models import Holding, Need, Part
from refit.stores.models import Kept as HowKept
from refit.stores.reading import whereabouts
from refit.work.models import Job

NIL = Decimal(0)
LAST = 10**6


@dataclass(frozen=True)
class Line:
    """So much of a holding to take for what a job wants; of what is not counted, no quantity."""

    need: Need
    holding: Holding
    quantity: Decimal | None

    @property
    def part(self) -> Part:
        return self.holding.part

    @property
    def key(self) -> str:
        """Return what the tick sends: which holding, for which job, how much."""
        return f"{self.holding.pk}:{self.need.job.number}:{self.quantity or 0:f}"

    @property
    def words(self) -> str:
        """Return what is done there: `2`, or `cut 8 m from piece 3`."""
        if self.quantity is None:
            return self.holding.level
        much = amount(self.part, self.quantity)
        if is_piece(self.holding):
            whole = self.quantity == self.holding.quantity
            return f"all {much} of {self.holding.lot}" if whole else f"cut {much} from {self.holding.lot}"
        return much

    @property
    def note(self) -> str:
        """Return what matters when taking it."""
        lot = self.holding.lot
        words = [str(lot)] if lot and self.quantity is not None and not is_piece(self.holding) else []
        words += ["in one piece"] if self.need.one_piece else []
        words += [f"must fit {self.need.must_fit}"] if self.need.must_fit else []
        return ", ".join(words)


@dataclass
class Stop:
    """One place on the way, and what is taken there."""

    place: Location
    lines: list[Line] = field(default_factory=list)
    cares: list[str] = field(default_factory=list)

    @property
    def keys(self) -> list[str]:
        return [line.key for line in self.lines if line.quantity is not None]


@dataclass(frozen=True)
class Lack:
    """What a job wants and that lies nowhere here: how much, and why."""

    need: Need
    quantity: Decimal
    why: str


@dataclass
class FetchList:
    """The stops in the order of the walk, and what is not found here."""

    stops: list[Stop] = field(default_factory=list)
    lacks: list[Lack] = field(default_factory=list)

    @property
    def things(self) -> int:
        return sum(len(stop.lines) for stop in self.stops)


def fetch_list(boat: Boat, jobs: list[Job], on: date) -> FetchList:
    """Return what these jobs still want and where to take it; each thing is given to one need."""
    wants = [want for job in jobs for want in wanted(jobs).get(job.pk, [])] if len(jobs) == 1 else _all(jobs)
    parts = {want.need.part_id for want in wants if want.need.part_id}
    where = whereabouts(boat, parts, on) if parts else {}
    kept = kept_for(boat, parts) if parts else {}
    numbers = {job.pk for job in jobs}
    free = {
        pk: _free(here.usable, [row for row in kept.get(pk, []) if row.job.pk not in numbers])
        for pk, here in where.items()
    }
    found = FetchList()
    stops: dict[int, Stop] = {}
    # What must be in one piece chooses first, the longest of all before.
    for want in sorted(
        wants, key=lambda want: (not want.need.one_piece, -want.unmet if want.need.one_piece else 0)
    ):
        _allot(want, free, stops, found)
    found.stops = sorted(stops.values(), key=lambda stop: along(stop.place))
    _minds(found.stops)
    return found


def _all(jobs: list[Job]) -> list[Wanted]:
    by_job = wanted(jobs)
    return [want for job in jobs for want in by_job.get(job.pk, [])]


@dataclass
class Spot:
    """A holding, and how much of it may still be given out."""

    holding: Holding
    left: Decimal


def _free(usable: list[tuple[Holding, Decimal]], kept: list[Kept]) -> list[Spot]:
    """Return what may be taken here: what is kept for other jobs is left, its own piece or the last that lies about."""
    spots = [Spot(holding, some) for holding, some in usable if holding.place.where != Where.AWAY]
    for row in kept:
        rest = row.quantity
        own = [spot for spot in spots if row.lot_id is not None and spot.holding.lot_id == row.lot_id]
        for spot in own or reversed(spots):
            some = min(rest, spot.left)
            spot.left -= some
            rest -= some
    return spots


def _allot(want: Wanted, free: dict[int, list[Spot]], stops: dict[int, Stop], found: FetchList) -> None:
    need, rest = want.need, want.unmet
    if rest <= 0:
        return
    if need.part is None:
        found.lacks.append(Lack(need, rest, "in words only: look for it"))
        return
    spots = free.get(need.part.pk, [])
    if need.one_piece:
        kept = need.reserved_lot_id
        fit = [spot for spot in spots if spot.holding.lot_id and spot.left >= rest]
        spots = sorted(fit, key=lambda spot: (spot.holding.lot_id != kept, spot.left))[:1]
    for spot in spots:
        if need.part.kept != HowKept.COUNTED:
            _stop(stops, spot.holding).lines.append(Line(need, _of(spot, need), None))
            return
        some = min(rest, spot.left)
        if some > 0:
            _stop(stops, spot.holding).lines.append(Line(need, _of(spot, need), some))
            spot.left -= some
            rest -= some
    if rest > 0:
        found.lacks.append(Lack(need, rest, _why(want, rest)))


def _of(spot: Spot, need: Need) -> Holding:
    assert need.part is not None
    spot.holding.part = need.part  # at hand already: no query for each
    return spot.holding


def _stop(stops: dict[int, Stop], holding: Holding) -> Stop:
    return stops.setdefault(holding.place_id, Stop(holding.place))


def _why(want: Wanted, rest: Decimal) -> str:
    if want.need.one_piece:
        return "no piece here is long enough"
    if want.drafted >= rest:
        return "not ordered yet"
    return "lies nowhere here"


def along(place: Location) -> tuple[int, int, str, str, int]:
    """Return the key that puts places in the order of the walk: aboard from the bow, then ashore; by mark."""
    area = place.area or place
    ashore = [Where.ABOARD, Where.ASHORE, Where.AWAY].index(Where(place.where))
    return (ashore, area.from_bow or LAST, area.mark_sort, place.mark_sort, place.pk)


def _minds(stops: list[Stop]) -> None:
    """Say at each stop what is to be minded there, in one query."""
    words: dict[int, list[str]] = defaultdict(list)
    for caution in PlaceCaution.objects.filter(location__in=[stop.place.pk for stop in stops]).order_by(
        "kind"
    ):
        head = "Do not block" if caution.kind in NOT_TO_BLOCK else "Mind"
        words[caution.location_id].append(f"{head}: {caution.get_kind_display()}")
    for stop in stops:
        stop.cares = words[stop.place.pk]


def sheet_rows(found: FetchList) -> list[FetchRow]:
    """Return the list as rows of the sheet of paper, the stops in order and what is not here last."""
    numbers = _numbers([line.part for stop in found.stops for line in stop.lines])
    rows = [
        FetchRow(
            mark=stop.place.plate,
            place=_named(stop.place),
            part=line.part.name,
            quantity=line.quantity,
            unit=line.part.get_unit_display(),
            job=f"{line.need.job.number} {line.need.job.title}",
            number=numbers.get(line.part.pk, ""),
            note=_paper_note(line),
            care="; ".join(stop.cares),
        )
        for stop in found.stops
        for line in stop.lines
    ]
    return rows + [
        FetchRow(
            mark="",
            place="",
            part=str(lack.need),
            quantity=lack.quantity,
            unit=lack.need.part.get_unit_display() if lack.need.part else "",
            job=f"{lack.need.job.number} {lack.need.job.title}",
            note=lack.why,
        )
        for lack in found.lacks
    ]


def _paper_note(line: Line) -> str:
    words = [line.words] if line.quantity is None or is_piece(line.holding) else []
    return ", ".join([*words, *([line.note] if line.note else [])])


def _named(place: Location) -> str:
    words = [place.name] if place.mark and place.name else []
    return ", ".join([*words, *([place.area.name] if place.area and place.area_id != place.pk else [])])


def _numbers(parts: list[Part]) -> dict[int, str]:
    rows: Any = Part.objects.filter(pk__in={part.pk for part in parts}).prefetch_related("numbers")
    return {part.pk: first_number(part) for part in rows}
