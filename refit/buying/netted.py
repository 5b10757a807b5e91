"""What every open need of the boat can count on: here, away, on order, to order; and the dates of the jobs with it.

Puts the work list, the stores and the orders of a boat before two calculations: the plan (`refit.calc.plan`) and the
netting (`refit.calc.netting`). In this order: the plan as if every part were here says when each job must start at the
latest, which is the day its parts are wanted unless somebody typed another; the netting says what each need can count
on, and when; the plan with those days says what it all hangs on.

What a need reserves is its own, firmly. What was bought for a job, come or to come, goes to that job first and to others
only where the job does not want it (`refit.buying.supplies`). Orders not placed yet count for nothing but are told, so
that nothing is ordered twice. What is wanted in words holds up its job until the order that was written for it comes.

A part that nobody knows the day of does not hold up the plan by a made-up day: it counts as if ordered today where the
lead time is known, else by the days that are known of the rest of it, else as here today, and is told apart (`unsure`).
Reads in a constant number of queries.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from refit.boat.models import Boat
from refit.buying.leads import Leads, read_leads
from refit.buying.models import Line, OrderState
from refit.buying.reading import Wanted, wanted_of
from refit.buying.supplies import Supplies, due_of, family, need_key, supplies_for
from refit.buying.supposing import AS_IT_IS, Suppose, bought_later, moved, supposed
from refit.calc.netting import Met, Want, net
from refit.calc.plan import Plan, Task, plan
from refit.calc.schedule import Unworkable
from refit.stores.models import Holding, Kept, Need, Part
from refit.work.models import Job
from refit.work.planning import WorkList, job_key, read_work, tasks_of

NIL = Decimal(0)


@dataclass(frozen=True)
class NeedInTime:
    """One open need with the day it is wanted, what it can count on, and where that is.

    `met` is None for a need in words, or of a job that is not planned. `lines` are orders placed and to come for it,
    `holdings` where it lies. `to_buy` is what is short, less what stands on an order not placed yet. `here_on` is the last
    day that is known of any of it; `unsure` where there is some that nobody knows the day of.
    """

    need: Need
    job: Job
    wanted: Wanted
    wanted_by: date
    met: Met | None
    holdings: tuple[Holding, ...] = ()
    lines: tuple[Line, ...] = ()
    in_words: Decimal = NIL  # of a need in words: so much stands on orders, placed or not
    here_on: date | None = None
    unsure: bool = False

    @property
    def to_buy(self) -> Decimal:
        if self.met is None:
            return max(self.wanted.to_buy - self.in_words, NIL)
        if self.met.want.bulk and self.wanted.drafted > 0:  # of what is not counted, some is enough
            return NIL
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
    found = supplies_for(boat, today, needs, parts)
    bought = {want.accepts[-1] for want in wants if want}
    terms = leads.terms_of(parts[pk] for pk in sorted(bought))
    supplies = [moved(supply, suppose, today) for supply in found.supplies]
    met = net([want for want in wants if want], supplies, terms, today)
    met = {key: bought_later(each, suppose, today) for key, each in met.items()}
    in_words = _ordered_in_words(boat)
    rows = tuple(
        _row(row, _wanted_by(row.need, work, bare), met[need_key(row.need)], found)
        if row.need.part_id
        else _row_in_words(
            row, _wanted_by(row.need, work, bare), in_words.get(row.need.pk, []), suppose, today
        )
        for row in needs
    )
    made, _ = _plan(work, _parts_here(rows, today))
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
        unsure=tuple(row for row in rows if row.unsure),
        contradiction=contradiction,
        by_job=by_job,
    )


def _plan(work: WorkList, parts: dict[int, tuple[date, str]]) -> tuple[Plan, str]:
    """Return the plan; where what people said contradicts itself, that of the jobs alone, and what contradicts.

    Where the jobs alone lead beyond all calendars too, each stands for itself: every page still has something to show.
    """
    try:
        return plan(tasks_of(work, parts), work.working, work.today, work.targets), ""
    except Unworkable as fault:
        alone, said = tasks_of(work.without_milestones(), parts), str(fault)
    try:
        return plan(alone, work.working, work.today, {}), said
    except Unworkable:
        single = [Task(task.key, min(task.days, 1), priority=task.priority) for task in alone]
        return plan(single, work.working, work.today, {}), said


def _needs(work: WorkList, parts: dict[int, Part]) -> list[Wanted]:
    jobs = {job.pk: job for job in work.jobs}
    needs = list(Need.objects.filter(boat=work.boat, job_id__in=list(jobs)).order_by("job_id", "id"))
    for need in needs:
        need.job = jobs[need.job_id]
        if need.part_id:
            need.part = parts[need.part_id]
    rows = wanted_of(needs, {pk: part.superseded_by_id for pk, part in parts.items()})
    return [row for row in rows if not row.need.met_at and row.need.quantity > row.taken]


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
    part = parts[need.part_id]
    return Want(
        key=need_key(need),
        group=job_key(need.job),
        accepts=family(need.part_id, parts),
        quantity=need.quantity - row.taken,
        wanted_by=day,
        priority=need.job.priority,
        one_piece=need.one_piece and part.in_pieces,
        bulk=part.kept != Kept.COUNTED,
    )


def _ordered_in_words(boat: Boat) -> dict[int, list[Line]]:
    """Return the lines, placed or not, that were written for a need in words."""
    found: dict[int, list[Line]] = defaultdict(list)
    lines = Line.objects.filter(boat=boat, need__part=None, need__isnull=False)
    for line in lines.exclude(order__state=OrderState.CANCELLED).select_related(
        "order__supplier", "place__area"
    ):
        found[line.need_id or 0].append(line)
    return found


def _row(row: Wanted, day: date, met: Met, found: Supplies) -> NeedInTime:
    keys = [take.supply.key for take in met.takes]
    lying = {key: found.holdings[key] for key in keys if key in found.holdings}
    on_order = {found.lines[key].pk: found.lines[key] for key in keys if key in found.lines}
    days = [met.ready_on or met.fresh_on, *(take.on for take in met.takes)]
    return NeedInTime(
        need=row.need,
        job=row.need.job,
        wanted=row,
        wanted_by=day,
        met=met,
        holdings=tuple(lying.values()),
        lines=tuple(on_order.values()),
        here_on=max((on for on in days if on), default=None),
        unsure=met.ready_on is None,
    )


def _row_in_words(row: Wanted, day: date, said: list[Line], suppose: Suppose, today: date) -> NeedInTime:
    coming = [line for line in said if line.counted and line.open_quantity > 0]
    days = [supposed(due_of(line, today), line.order.number, suppose, today) for line in coming]
    return NeedInTime(
        need=row.need,
        job=row.need.job,
        wanted=row,
        wanted_by=day,
        met=None,
        lines=tuple(coming),
        in_words=sum((line.wanted for line in said), NIL),
        here_on=max((on for on in days if on), default=None),
        unsure=None in days,
    )


def _parts_here(rows: Iterable[NeedInTime], today: date) -> dict[int, tuple[date, str]]:
    """Return by job the day its last part is here and which that is, where it is not here today."""
    here: dict[int, tuple[date, str]] = {}
    for row in rows:
        day = row.here_on
        if day is not None and day > today and (row.job.pk not in here or day > here[row.job.pk][0]):
            here[row.job.pk] = (day, str(row.need))
    return here
