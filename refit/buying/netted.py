"""What every open need of the boat can count on: here, away, on order, to order; and the dates of the jobs with it.

Puts the work list, the stores and the orders of a boat before two calculations: the plan (`refit.calc.plan`) and the
netting (`refit.calc.netting`). In this order: the plan as if every part were here says when each job must start at the
latest, which is the day its parts are wanted unless somebody typed another; the netting says what each need can count
on, and when; the plan with those days says what it all hangs on.

Decides what is kept for whom. What a need reserves is its own, firmly. What was bought for a job, come or to come, goes
to that job first and to others only where the job does not want it. Orders not placed yet count for nothing but are
told, so that nothing is ordered twice. What comes to a place away is here so many days later.

A part that nobody knows the day of does not hold up the plan by a made-up day: it counts as if ordered today where the
lead time is known, else as here today, and is told apart (`unsure`). Reads in a constant number of queries.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from refit.boat.models import Boat, Location, Where
from refit.buying.leads import Leads, read_leads
from refit.buying.models import COMING_STATES, Line, OrderState
from refit.buying.reading import Wanted, wanted_of
from refit.buying.supposing import AS_IT_IS, Suppose, bought_later, moved
from refit.calc.netting import Met, Source, Supply, Want, net
from refit.calc.plan import Plan, plan
from refit.calc.schedule import Unworkable
from refit.stores.models import Holding, Kept, Level, Lot, Need, Part
from refit.stores.models.parts import GOOD_CONDITIONS
from refit.stores.reading import with_aside
from refit.work.models import Job
from refit.work.planning import WorkList, job_key, read_work, tasks_of

NIL = Decimal(0)
MOST_PIECES = 60  # a line of more packs than this is not told apart piece by piece


@dataclass(frozen=True)
class NeedInTime:
    """One open need with the day it is wanted, what it can count on, and where that is.

    `met` is None for a need in words, or of a job that is not planned. `lines` are orders placed and to come for it,
    `holdings` where it lies. `to_buy` is what is short, less what stands on an order not placed yet.
    """

    need: Need
    job: Job
    wanted: Wanted
    wanted_by: date
    met: Met | None
    holdings: tuple[Holding, ...] = ()
    lines: tuple[Line, ...] = ()
    in_words: Decimal = NIL  # of a need in words: so much stands on orders, placed or not

    @property
    def to_buy(self) -> Decimal:
        if self.met is None:
            return max(self.wanted.to_buy - self.in_words, NIL)
        return max(self.met.short - self.wanted.drafted, NIL)


@dataclass(frozen=True)
class Netted:
    """A boat's needs and dates as they stand on a day. `jobs` and `parts` are by primary key."""

    boat: Boat
    today: date
    work: WorkList
    leads: Leads
    rows: tuple[NeedInTime, ...]
    bare: Plan
    plan: Plan
    parts: dict[int, Part]
    jobs: dict[int, Job]
    unsure: tuple[NeedInTime, ...] = ()
    contradiction: str = ""
    by_job: dict[int, list[NeedInTime]] = field(default_factory=dict)


def netted(boat: Boat, today: date, work: WorkList | None = None, suppose: Suppose = AS_IT_IS) -> Netted:
    """Return what every open need of the jobs to be done can count on, and the plan that follows."""
    work = work or read_work(boat, today)
    parts = {part.pk: part for part in Part.objects.filter(boat=boat)}
    leads = read_leads(boat, today)
    bare, contradiction = _plan(work, {})
    needs = _needs(work, parts)
    wants = [_want(row, _wanted_by(row.need, work, bare), parts) for row in needs]
    supplies, holdings, lines = _supplies(boat, today, needs, parts)
    bought = {want.accepts[-1] for want in wants if want}
    terms = leads.terms_of(parts[pk] for pk in sorted(bought))
    supplies = [moved(supply, suppose, today) for supply in supplies]
    met = net([want for want in wants if want], supplies, terms, today)
    met = {key: bought_later(found, suppose, today) for key, found in met.items()}
    in_words = _ordered_in_words(boat)
    rows = tuple(
        _row(row, _wanted_by(row.need, work, bare), met.get(_key(row.need)), holdings, lines, in_words)
        for row in needs
    )
    here, unsure = _parts_here(rows, parts, today)
    made, _ = _plan(work, here)
    by_job: dict[int, list[NeedInTime]] = defaultdict(list)
    for row in rows:
        by_job[row.job.pk].append(row)
    return Netted(
        boat=boat,
        today=today,
        work=work,
        leads=leads,
        rows=rows,
        bare=bare,
        plan=made,
        parts=parts,
        jobs={job.pk: job for job in work.jobs},
        unsure=unsure,
        contradiction=contradiction,
        by_job=by_job,
    )


def _plan(work: WorkList, parts: dict[int, tuple[date, str]]) -> tuple[Plan, str]:
    """Return the plan; where what people said contradicts itself, that of the jobs alone, and what contradicts."""
    try:
        return plan(tasks_of(work, parts), work.working, work.today, work.targets), ""
    except Unworkable as fault:
        alone = tasks_of(work.without_milestones(), parts)
        return plan(alone, work.working, work.today, {}), str(fault)


def _needs(work: WorkList, parts: dict[int, Part]) -> list[Wanted]:
    jobs = {job.pk: job for job in work.jobs}
    needs = list(Need.objects.open().filter(boat=work.boat, job_id__in=list(jobs)).order_by("job_id", "id"))
    for need in needs:
        need.job = jobs[need.job_id]
        if need.part_id:
            need.part = parts[need.part_id]
    return [row for row in wanted_of(needs) if row.need.quantity > row.taken]


def _key(need: Need) -> str:
    return f"n{need.pk}"


def _wanted_by(need: Need, work: WorkList, bare: Plan) -> date:
    """Return the day a need is wanted: as typed, else the latest day its job must start; of a late job, its first."""
    if need.wanted_by:
        return need.wanted_by
    placed = bare.placed.get(job_key(need.job))
    return work.today if placed is None else max(placed.works_from, placed.late_start)


def _want(row: Wanted, day: date, parts: dict[int, Part]) -> Want | None:
    need = row.need
    if need.part_id is None:
        return None
    accepts, follow = [need.part_id], parts[need.part_id].superseded_by_id
    while follow is not None and follow not in accepts:
        accepts.append(follow)
        follow = parts[follow].superseded_by_id
    part = parts[need.part_id]
    return Want(
        key=_key(need),
        group=job_key(need.job),
        accepts=tuple(accepts),
        quantity=need.quantity - row.taken,
        wanted_by=day,
        priority=need.job.priority,
        one_piece=need.one_piece and part.in_pieces,
        bulk=part.kept != Kept.COUNTED,
    )


def _supplies(
    boat: Boat, today: date, needs: list[Wanted], parts: dict[int, Part]
) -> tuple[list[Supply], dict[str, Holding], dict[str, Line]]:
    """Return all that lies somewhere or is to come, what is kept for a need or a job told apart."""
    wanted = {pk for row in needs if row.need.part_id for pk in _family(row.need.part_id, parts)}
    found = _Found(today, parts)
    kept = _Kept(needs)
    held = with_aside(Holding.objects.there()).filter(boat=boat).select_related("place__area", "lot")
    for holding in held.order_by("place__where", "place__mark_sort", "id"):
        if holding.part_id in wanted:
            found.lying(holding, kept)
    lines = Line.objects.filter(boat=boat, order__state__in=COMING_STATES, part__isnull=False)
    for line in lines.select_related("order__supplier", "job", "place__area").order_by(
        "order__expected_on", "id"
    ):
        if line.part_id in wanted and line.open_quantity > 0:
            found.coming(line)
    return found.supplies, found.holdings, found.lines


def _family(part: int, parts: dict[int, Part]) -> set[int]:
    family, follow = {part}, parts[part].superseded_by_id
    while follow is not None and follow not in family:
        family.add(follow)
        follow = parts[follow].superseded_by_id
    return family


class _Kept:
    """What is kept: firmly for a need that reserves it, and for the job that something came for."""

    def __init__(self, needs: Iterable[Wanted]) -> None:
        self.firm: dict[int, list[tuple[str, Decimal, int | None]]] = defaultdict(list)
        self.came: dict[int, list[tuple[str, Decimal]]] = defaultdict(list)
        for row in needs:
            need = row.need
            if need.part_id is None:
                continue
            rest = min(need.reserved, need.quantity - row.taken)
            if rest > 0:
                self.firm[need.part_id].append((_key(need), rest, need.reserved_lot_id))
            if row.arrived > rest:
                self.came[need.part_id].append((job_key(need.job), row.arrived - rest))


class _Found:
    """Gathers supplies; each has a key of its own and leads back to the holding or line it is of."""

    def __init__(self, today: date, parts: dict[int, Part]) -> None:
        self.today, self.parts = today, parts
        self.supplies: list[Supply] = []
        self.holdings: dict[str, Holding] = {}
        self.lines: dict[str, Line] = {}

    def lying(self, holding: Holding, kept: _Kept) -> None:
        """Add what lies in one place: what is reserved of it, what came for a job, and the rest."""
        lot: Lot | None = holding.lot
        if lot is not None and lot.condition not in GOOD_CONDITIONS:
            return
        part = self.parts[holding.part_id]
        if part.kept != Kept.COUNTED or (holding.level and holding.level not in (Level.NONE, Level.GONE)):
            self._lies(holding, NIL, "", endless=True)
            return
        free = holding.quantity - getattr(holding, "aside", NIL)
        if part.in_pieces and lot is not None and lot.number is not None:
            self._piece(holding, free, kept)
            return
        for name, mine in _draw(kept.firm[part.pk], free, lot, holding):
            self._lies(holding, mine, name, firm=True)
            free -= mine
        for name, mine in _draw_came(kept.came[part.pk], free, holding):
            self._lies(holding, mine, name)
            free -= mine
        if free > 0:
            self._lies(holding, free, "")

    def _piece(self, holding: Holding, length: Decimal, kept: _Kept) -> None:
        """Add a piece: it is kept whole for the need that reserves it, if one does."""
        rows = kept.firm[holding.part_id]
        mine = next((row for row in rows if row[2] == holding.lot_id), None)
        if mine is not None:
            rows.remove(mine)
        if length > 0:
            self._lies(holding, length, mine[0] if mine else "", firm=mine is not None, one_piece=True)

    def _lies(
        self,
        holding: Holding,
        quantity: Decimal,
        reserved_for: str,
        *,
        firm: bool = False,
        endless: bool = False,
        one_piece: bool = False,
    ) -> None:
        source, days = _source(holding.place)
        key = f"h{holding.pk}/{len(self.supplies)}"
        self.holdings[key] = holding
        self.supplies.append(
            Supply(
                key=key,
                part=holding.part_id,
                quantity=quantity,
                source=source,
                on=self.today + timedelta(days=days),
                good_until=holding.lot.expires_on if holding.lot else None,
                one_piece=one_piece,
                place=str(holding.place),
                reserved_for=reserved_for or None,
                firm=firm,
                endless=endless,
            )
        )

    def coming(self, line: Line) -> None:
        """Add what is still to come of a line; of what is kept in pieces, each pack as a piece."""
        away = (
            line.place.area.days_away
            if line.place and line.place.where == Where.AWAY and line.place.area
            else 0
        )
        due = line.order.expected_on
        due = None if due and due < self.today else due  # its day has passed without it
        part = self.parts[line.part_id or 0]
        packs = [line.open_quantity]
        one_piece = part.in_pieces
        if one_piece and line.open_quantity % line.pack_size == 0:
            count = int(line.open_quantity / line.pack_size)
            packs = [line.pack_size] * count if count <= MOST_PIECES else packs
        for quantity in packs:
            key = f"l{line.pk}/{len(self.supplies)}"
            self.lines[key] = line
            self.supplies.append(
                Supply(
                    key=key,
                    part=part.pk,
                    quantity=quantity,
                    source=Source.ON_ORDER,
                    on=due + timedelta(days=away) if due else None,
                    one_piece=one_piece,
                    place=str(line.order.supplier),
                    reserved_for=job_key(line.job) if line.job else None,
                    order=line.order.number,
                    endless=part.kept != Kept.COUNTED,
                )
            )


def _source(place: Location) -> tuple[Source, int]:
    if place.where == Where.AWAY:
        return Source.AWAY, place.area.days_away if place.area else 0
    return (Source.ASHORE if place.where == Where.ASHORE else Source.ABOARD), 0


def _draw(
    rows: list[tuple[str, Decimal, int | None]], free: Decimal, lot: Lot | None, holding: Holding
) -> list[tuple[str, Decimal]]:
    """Draw what is reserved out of what lies here (not away); what stays reserved waits for the next place."""
    if holding.place.where == Where.AWAY:
        return []
    found = []
    for at, (name, rest, only) in enumerate(rows):
        if only is not None and (lot is None or lot.pk != only):
            continue
        mine = min(rest, free)
        if mine > 0:
            found.append((name, mine))
            rows[at] = (name, rest - mine, only)
            free -= mine
    return found


def _draw_came(rows: list[tuple[str, Decimal]], free: Decimal, holding: Holding) -> list[tuple[str, Decimal]]:
    found = []
    for at, (name, rest) in enumerate(rows):
        mine = min(rest, free)
        if mine > 0:
            found.append((name, mine))
            rows[at] = (name, rest - mine)
            free -= mine
    return found


def _ordered_in_words(boat: Boat) -> dict[int, list[Line]]:
    """Return the lines, placed or not, that were written for a need in words."""
    found: dict[int, list[Line]] = defaultdict(list)
    lines = Line.objects.filter(boat=boat, need__part=None, need__isnull=False)
    for line in lines.exclude(order__state=OrderState.CANCELLED).select_related("order__supplier"):
        found[line.need_id or 0].append(line)
    return found


def _row(
    row: Wanted,
    day: date,
    met: Met | None,
    holdings: dict[str, Holding],
    lines: dict[str, Line],
    in_words: dict[int, list[Line]],
) -> NeedInTime:
    if met is None:
        said = in_words.get(row.need.pk, [])
        coming = tuple(line for line in said if line.counted and line.open_quantity > 0)
        return NeedInTime(
            row.need, row.need.job, row, day, None, (), coming, sum((line.wanted for line in said), NIL)
        )
    lying = {take.supply.key: holdings[take.supply.key] for take in met.takes if take.supply.key in holdings}
    on_order = {
        lines[take.supply.key].pk: lines[take.supply.key] for take in met.takes if take.supply.key in lines
    }
    return NeedInTime(row.need, row.need.job, row, day, met, tuple(lying.values()), tuple(on_order.values()))


def _parts_here(
    rows: Iterable[NeedInTime], parts: dict[int, Part], today: date
) -> tuple[dict[int, tuple[date, str]], tuple[NeedInTime, ...]]:
    """Return by job the day its last part is here and which that is; and the needs whose day nobody knows."""
    here: dict[int, tuple[date, str]] = {}
    unsure = []
    for row in rows:
        if row.met is None:
            continue
        day = row.met.ready_on
        if day is None:
            unsure.append(row)
            day = row.met.fresh_on
        if day is not None and day > today and (row.job.pk not in here or day > here[row.job.pk][0]):
            here[row.job.pk] = (day, parts[row.need.part_id or 0].name)
    return here, tuple(unsure)
