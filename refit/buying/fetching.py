"""The fetch list: what to take from which place for one job or several, from the bow to the stern.

Decides which of what lies about is taken: what is kept for another job is left alone, a piece must be long enough, what
took the place of a part does as well as the part itself, which is taken first.
Reads in a number of queries that does not grow with the jobs.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from refit.boat.models import Boat, Location, PlaceCaution, Where
from refit.boat.walk import walk
from refit.buying.reading import Wanted, wanted
from refit.stores.actions.pieces import is_piece
from refit.stores.amounts import amount
from refit.stores.kept import Kept, kept_for
from refit.stores.models import Holding, Need, Part
from refit.stores.models import Kept as HowKept
from refit.stores.reading import Whereabouts, whereabouts
from refit.stores.replaced import Newer, chain, replacements_for
from refit.work.models import Job

NIL = Decimal(0)


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


@dataclass(frozen=True)
class Known:
    """What jobs want, where it lies, and what of it is kept for whom."""

    wants: dict[int, list[Wanted]]
    where: dict[int, Whereabouts]
    kept: dict[int, list[Kept]]
    newer: Newer
    parts: dict[int, Part]

    def that_do(self, need: Need) -> tuple[int, ...]:
        """Return the parts that will do for a need, the part itself first."""
        return chain(need.part_id, self.newer.get) if need.part_id else ()


def fetch_list(boat: Boat, jobs: list[Job], on: date) -> FetchList:
    """Return what these jobs still want and where to take it; each thing is given to one need."""
    found = _list(jobs, _read(boat, jobs, on))
    _minds(found.stops)
    return found


def fetch_lists(boat: Boat, jobs: list[Job], on: date) -> dict[int, FetchList]:
    """Return the list of each of these jobs by itself, as if it alone were fetched for; without what to mind."""
    known = _read(boat, jobs, on)
    return {job.pk: _list([job], known) for job in jobs}


def _read(boat: Boat, jobs: list[Job], on: date) -> Known:
    wants = wanted(jobs)
    needs = [want.need for rows in wants.values() for want in rows if want.need.part]
    newer = replacements_for(needs)
    named = {need.part_id: need.part for need in needs if need.part_id and need.part}
    ids = {part for pk in named for part in chain(pk, newer.get)}
    parts = named | (Part.objects.in_bulk(ids - set(named)) if ids - set(named) else {})
    if not ids:
        return Known(wants, {}, {}, newer, parts)
    return Known(wants, whereabouts(boat, ids, on), kept_for(boat, ids), newer, parts)


def _list(jobs: list[Job], known: Known) -> FetchList:
    wants = [want for job in jobs for want in known.wants.get(job.pk, [])]
    mine = {job.pk for job in jobs}
    ids = {part for want in wants for part in known.that_do(want.need)}
    free = {
        pk: _free(
            known.where[pk].usable,
            known.parts[pk],
            [row for row in known.kept.get(pk, []) if row.job.pk not in mine],
        )
        for pk in ids
    }
    found = FetchList()
    stops: dict[int, Stop] = {}
    # What must be in one piece chooses first, the longest of all before.
    for want in sorted(
        wants, key=lambda want: (not want.need.one_piece, -want.unmet if want.need.one_piece else 0)
    ):
        _allot(want, [spot for pk in known.that_do(want.need) for spot in free[pk]], stops, found)
    found.stops = sorted(stops.values(), key=lambda stop: walk(stop.place))
    return found


@dataclass
class Spot:
    """A holding, and how much of it may still be given out."""

    holding: Holding
    left: Decimal


def _free(usable: list[tuple[Holding, Decimal]], part: Part, kept: list[Kept]) -> list[Spot]:
    """Return what may be taken here: what is kept for other jobs is left, its own piece or the last that lies about."""
    spots = [Spot(holding, some) for holding, some in usable if holding.place.where != Where.AWAY]
    for spot in spots:
        spot.holding.part = part  # at hand already: no query for each
    for row in kept:
        rest = row.quantity
        own = [spot for spot in spots if row.lot_id is not None and spot.holding.lot_id == row.lot_id]
        for spot in own or reversed(spots):
            some = min(rest, spot.left)
            spot.left -= some
            rest -= some
    return spots


def _allot(want: Wanted, spots: list[Spot], stops: dict[int, Stop], found: FetchList) -> None:
    need, rest = want.need, want.unmet
    if rest <= 0:
        return
    if need.part is None:
        found.lacks.append(Lack(need, rest, "in words only: look for it"))
        return
    if need.one_piece:
        kept = need.reserved_lot_id
        fit = [spot for spot in spots if spot.holding.lot_id and spot.left >= rest]
        spots = sorted(fit, key=lambda spot: (spot.holding.lot_id != kept, spot.left))[:1]
    for spot in spots:
        if spot.holding.part.kept != HowKept.COUNTED:
            _stop(stops, spot.holding).lines.append(Line(need, spot.holding, None))
            return
        some = min(rest, spot.left)
        if some > 0:
            _stop(stops, spot.holding).lines.append(Line(need, spot.holding, some))
            spot.left -= some
            rest -= some
    if rest > 0:
        found.lacks.append(Lack(need, rest, _why(want, rest)))


def _stop(stops: dict[int, Stop], holding: Holding) -> Stop:
    return stops.setdefault(holding.place_id, Stop(holding.place))


def _why(want: Wanted, rest: Decimal) -> str:
    if want.need.one_piece:
        return "no piece here is long enough"
    if want.drafted >= rest:
        return "not ordered yet"
    return "lies nowhere here"


def _minds(stops: list[Stop]) -> None:
    """Say at each stop what is to be minded there, in one query."""
    words: dict[int, list[str]] = defaultdict(list)
    for caution in PlaceCaution.objects.filter(location__in=[stop.place.pk for stop in stops]).order_by(
        "kind"
    ):
        words[caution.location_id].append(f"{caution.head}: {caution.get_kind_display()}")
    for stop in stops:
        stop.cares = words[stop.place.pk]
