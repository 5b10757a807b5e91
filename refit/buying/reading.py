"""Reading buying: what is on order, what a job still wants, what is known of a part before buying it again."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.db.models import Exists, OuterRef, QuerySet, Sum

from refit.boat.models import Boat, Location, Where
from refit.buying.models import COMING_STATES, DeliveryLine, Line, OrderState
from refit.stores.kept import Key, draw, met_of, taken_for
from refit.stores.models import Holding, Need, Part
from refit.stores.reading import Whereabouts, whereabouts
from refit.stores.replaced import Newer, chain, replacements_for
from refit.work.models import OPEN_STATES, Job

NIL = Decimal(0)


@dataclass(frozen=True)
class Wanted:
    """A need of a job, with what has been taken for it, what is on order for it, and what is still unmet.

    Of what is unmet, `arrived` came for this job and lies somewhere, and `drafted` stands on an order not placed yet.
    """

    need: Need
    taken: Decimal
    on_order: Decimal
    unmet: Decimal
    arrived: Decimal = NIL
    drafted: Decimal = NIL

    @property
    def to_buy(self) -> Decimal:
        """Return how much of it nobody has bought or is about to buy for this job."""
        return max(self.unmet - self.arrived - self.drafted, NIL)


def coming(boat: Boat, parts: Iterable[int]) -> dict[int, list[Line]]:
    """Return, for each part, the order lines of which something is still to come."""
    found: dict[int, list[Line]] = defaultdict(list)
    lines = (
        Line.objects.filter(boat=boat, part_id__in=list(parts), order__state__in=COMING_STATES)
        .select_related("order", "order__supplier", "job")
        .order_by("order__expected_on", "id")
    )
    for line in lines:
        if line.open_quantity > 0 and line.part_id:
            found[line.part_id].append(line)
    return found


def wanted(jobs: Iterable[Job]) -> dict[int, list[Wanted]]:
    """Return what each job wants and how much of it is unmet, in three queries; one more where a part was replaced.

    What was taken, is on order, came (and does not go back) or is about to be ordered for the job is set against its
    needs in their order, once: of the part that is wanted, then of what took its place.
    """
    ids = [job.pk for job in jobs]
    needs = list(Need.objects.filter(job_id__in=ids).select_related("part", "job").order_by("job_id", "id"))
    found: dict[int, list[Wanted]] = defaultdict(list)
    for want in wanted_of(needs, replacements_for(needs)):
        found[want.need.job_id].append(want)
    return found


def wanted_of(needs: list[Need], newer: Newer) -> list[Wanted]:
    """Return the same of all needs of some jobs that are at hand, in their order, in two queries.

    `newer` says of each part what replaced it.
    """
    ids = list({need.job_id for need in needs})
    taken = taken_for(ids)
    bought = _bought(ids, taken)
    met = met_of(needs, taken, newer)
    found = []
    for need in needs:
        used, rest, drawn = met[need.pk], need.quantity - met[need.pk], [NIL, NIL, NIL]
        parts = chain(need.part_id, newer.get) if need.part_id else ()
        for at, store in enumerate((bought.coming, bought.arrived, bought.drafted)):
            for part in parts:
                drawn[at] += draw(store, (need.job_id, part), rest - sum(drawn, NIL))
        on_order, arrived, drafted = drawn
        unmet = NIL if need.met_at else need.quantity - used - on_order
        found.append(Wanted(need, used, on_order, unmet, arrived, drafted))
    return found


@dataclass(frozen=True)
class Want:
    """One thing that a job wants, with where to fetch it and what is short of it."""

    need: Need
    part: Part | None
    taken: Decimal
    on_order: Decimal
    unmet: Decimal
    short: Decimal  # still wanted, and lying nowhere
    usable: list[tuple[Holding, Decimal]] = field(default_factory=list)
    drafted: Decimal = NIL  # stands on an order that is not placed yet

    @property
    def done(self) -> bool:
        return self.unmet <= 0 and self.on_order <= 0

    @property
    def spots(self) -> list[tuple[Holding, Decimal]]:
        """Return where to fetch it, each with how much to take there; of what is not counted, where there is some."""
        found, rest = [], self.unmet
        for holding, there in self._in_one_piece() if self.need.one_piece else self.usable:
            some = min(rest, there)
            if some > 0 or (rest > 0 and holding.level):
                found.append((holding, some))
            rest -= some
        return found

    def _in_one_piece(self) -> list[tuple[Holding, Decimal]]:
        """Return the piece that is kept for it, else the shortest that is long enough; none if all are too short."""
        fit = [spot for spot in self.usable if spot[0].lot_id and spot[1] >= self.unmet]
        kept = self.need.reserved_lot_id
        return sorted(fit, key=lambda spot: (spot[0].lot_id != kept, spot[1]))[:1]

    @property
    def to_take(self) -> Decimal:
        """Return how much of what is still wanted lies somewhere."""
        return sum((some for _, some in self.spots), NIL)


def against(want: Wanted, where: dict[int, Whereabouts]) -> Want:
    """Return a need set against where its part lies."""
    part = want.need.part
    here = where.get(part.pk) if part else None
    there = here.aboard + here.ashore if here else NIL
    if want.need.one_piece and here:  # a shorter piece does not help
        fits = any(spot.lot_id and some >= want.unmet for spot, some in here.usable)
        there = want.unmet if fits else NIL
    enough = bool(here and here.level not in ("", "gone"))  # kept by level: there is some
    short = NIL if enough else max(want.unmet - there - want.drafted, NIL)
    usable = here.usable if here else []
    return Want(want.need, part, want.taken, want.on_order, want.unmet, short, usable, want.drafted)


@dataclass
class Bought:
    """What was bought for jobs, by job and part: still to come, come and not taken yet, not ordered yet."""

    coming: dict[Key, Decimal] = field(default_factory=dict)
    arrived: dict[Key, Decimal] = field(default_factory=dict)
    drafted: dict[Key, Decimal] = field(default_factory=dict)


def _bought(jobs: list[int], taken: dict[Key, Decimal]) -> Bought:
    found = Bought()
    lines = Line.objects.filter(job_id__in=jobs, part__isnull=False).exclude(
        order__state=OrderState.CANCELLED
    )
    for line in lines.select_related("order").annotate(back=Sum("returns__quantity")):
        key = (line.job_id or 0, line.part_id)
        if line.order.state == OrderState.DRAFT:
            found.drafted[key] = found.drafted.get(key, NIL) + line.quantity
            continue
        found.coming[key] = found.coming.get(key, NIL) + line.open_quantity
        found.arrived[key] = found.arrived.get(key, NIL) + line.arrived - (line.back or NIL)
    for key, quantity in found.arrived.items():
        found.arrived[key] = max(quantity - taken.get(key, NIL), NIL)
    return found


@dataclass
class Known:
    """What is known of a part before it is bought (again)."""

    part: Part
    where: Whereabouts
    coming: list[Line] = field(default_factory=list)
    on_order: Decimal = NIL
    wanted_by: list[tuple[Job, Decimal]] = field(default_factory=list)


def known(boat: Boat, parts: list[Part], on: date) -> list[Known]:
    """Return what is aboard and where, what is on order and who wants it, for each of these parts."""
    ids = [part.pk for part in parts]
    places = whereabouts(boat, ids, on)
    lines = coming(boat, ids)
    needs: dict[int, list[tuple[Job, Decimal]]] = defaultdict(list)
    open_needs = Need.objects.open().filter(boat=boat, part_id__in=ids, job__state__in=OPEN_STATES)
    for need in open_needs.select_related("job").order_by("job__number"):
        if need.part_id:
            needs[need.part_id].append((need.job, need.quantity))
    return [
        Known(
            part,
            places[part.pk],
            lines.get(part.pk, []),
            sum((line.open_quantity for line in lines.get(part.pk, [])), NIL),
            needs.get(part.pk, []),
        )
        for part in parts
    ]


def lying_away(boat: Boat) -> "QuerySet[DeliveryLine]":
    """Return what came on orders and still lies where it came to, away: at the forwarder, the repairer."""
    still = Holding.objects.there().filter(part=OuterRef("part"), place=OuterRef("place"))
    rows = DeliveryLine.objects.filter(boat=boat, delivery__undone_at=None, quantity__gt=0)
    return rows.filter(Exists(still), place__where=Where.AWAY)


def away_places(boat: Boat, orders: Iterable[int]) -> dict[int, Location]:
    """Return, for the orders of which something has arrived away, where it lies; one query."""
    rows = lying_away(boat).filter(line__order__in=list(orders)).select_related("place__area", "line")
    return {row.line.order_id: row.place for row in rows.order_by("-id") if row.place is not None}
