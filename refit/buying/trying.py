"""What if: a part or an order later or sooner, jobs left out, jobs moved past the launch. Reads; keeps nothing.

The trial reads the work list as it would stand if it were kept, and nets and plans that anew: parts that a dropped job
frees go to others, and what is shown is what would come of it. A job moved past the launch takes along what comes after
it by arrow and should be done before the launch, as that could not be.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from refit.boat.models import Boat
from refit.buying.book import read
from refit.buying.forecast import Book, Kind
from refit.buying.models import Line
from refit.buying.netted import NeedInTime, Netted, netted
from refit.buying.supplies import family
from refit.buying.supposing import Suppose
from refit.calc.plan import Clash, Moved, compare
from refit.work.models import Before, Job, Milestone
from refit.work.planning import WorkList, job_key, milestone_key

PUT_OFF = (Before.LAUNCH, Before.DEPARTURE)  # what may be moved past the launch


@dataclass(frozen=True)
class Trial:
    """What is tried. Jobs by number; `put` says before what those moved are to be done: departure or afloat."""

    suppose: Suppose = field(default_factory=Suppose)
    dropped: frozenset[int] = frozenset()
    moved: frozenset[int] = frozenset()
    put: str = Before.AFLOAT

    def __bool__(self) -> bool:
        return bool(self.suppose.orders or self.suppose.parts or self.dropped or self.moved)


@dataclass(frozen=True)
class MilestoneMoved:
    """A milestone with its day now, its day then, and the days between them (later is positive)."""

    milestone: Milestone
    was: date
    now: date

    @property
    def days(self) -> int:
        return (self.now - self.was).days


@dataclass(frozen=True)
class Tried:
    """What a trial would change; `along` are the jobs that have to be moved with those that were named."""

    trial: Trial
    before: Netted
    after: Netted
    milestones: tuple[MilestoneMoved, ...]
    moved: tuple[tuple[Job, Moved], ...]
    missed: tuple[Clash, ...]
    kept: tuple[Clash, ...]
    dropped: tuple[Job, ...]
    past: tuple[Job, ...]
    along: tuple[Job, ...]


@dataclass(frozen=True)
class Saved:
    """What dropping jobs saves, in minor units: what is still to buy of them, and estimates.

    `drafts` stand on orders not placed yet; `unknown` is how many things nobody knows the price of. `spent` is on them
    already, and `left` is what was bought for them and not used: it would be left over.
    """

    wanted: int = 0
    estimates: int = 0
    drafts: int = 0
    unknown: int = 0
    spent: int = 0
    left: tuple[NeedInTime, ...] = ()

    @property
    def total(self) -> int:
        return self.wanted + self.estimates


def tried(boat: Boat, before: Netted, trial: Trial) -> Tried:
    """Return what would come of a trial, compared with the boat as it stands."""
    jobs = {job.number: job for job in before.work.jobs}
    dropped = [jobs[number] for number in sorted(trial.dropped) if number in jobs]
    named = [
        jobs[number]
        for number in sorted(trial.moved - trial.dropped)
        if number in jobs and jobs[number].before in PUT_OFF
    ]
    along = _along(before.work, named, {job.pk for job in dropped})
    work = _changed(before.work, {job.pk for job in dropped}, {job.pk for job in [*named, *along]}, trial.put)
    after = netted(boat, before.today, work, trial.suppose)
    difference = compare(before.plan, after.plan)
    by_key = {job_key(job): job for job in before.work.jobs}
    return Tried(
        trial=trial,
        before=before,
        after=after,
        milestones=tuple(_milestones(before, after)),
        moved=tuple((by_key[row.key], row) for row in difference.moved if row.key in by_key),
        missed=difference.clashes,
        kept=tuple(clash for clash in difference.kept if clash.key in after.plan.placed),
        dropped=tuple(dropped),
        past=tuple(named),
        along=tuple(along),
    )


def saved(found: Tried) -> Saved:
    """Return what dropping jobs saves and what is spent on them already."""
    boat, today = found.before.boat, found.before.today
    chosen = {job.pk for job in found.dropped}
    if not chosen:
        return Saved()
    book = Book(read(boat))
    sums = dict.fromkeys(Kind, 0)
    for piece in book.to_come(today):
        if piece.job in chosen:
            sums[piece.kind] += piece.amount
    unknown = sum(1 for wish in book.wishes(today) if wish.job.pk in chosen and wish.amount is None)
    lines = Line.objects.filter(boat=boat, job_id__in=chosen, counted=True).values_list("landed", "refunded")
    return Saved(
        wanted=sums[Kind.WANTED],
        estimates=sums[Kind.ESTIMATE],
        drafts=sums[Kind.DRAFT],
        unknown=unknown,
        spent=sum(landed - back for landed, back in lines),
        left=tuple(_left(found, chosen)),
    )


def _left(found: Tried, chosen: set[int]) -> Iterable[NeedInTime]:
    """Yield what was bought for jobs dropped and would not be used by others instead."""
    more: dict[int, Decimal] = defaultdict(
        Decimal
    )  # so much of each part others would use that they do not now
    others = [row for row in found.before.rows if row.job.pk not in chosen]
    for rows, sign in ((found.after.rows, 1), (others, -1)):
        for take in (take for row in rows if row.met for take in row.met.takes):
            more[take.supply.part] += sign * take.quantity
    for row in (row for pk in sorted(chosen) for row in found.before.by_job.get(pk, ()) if row.need.part_id):
        bought = row.wanted.arrived + row.wanted.on_order
        for part in family(row.need.part_id or 0, found.before.parts):
            used = max(min(more[part], bought), Decimal(0))
            more[part] -= used
            bought -= used
        if bought > 0:
            yield row


def _along(work: WorkList, named: list[Job], dropped: set[int]) -> list[Job]:
    """Return the jobs that come after those moved and should be done before the launch, which they now cannot.

    The job that reaches a milestone stays: what it comes after cannot be moved past it, and the plan says so.
    """
    then: dict[int, list[int]] = {}
    for job, befores in work.after.items():
        for before in befores:
            then.setdefault(before, []).append(job)
    by_pk = {job.pk: job for job in work.jobs}
    seen = {job.pk for job in named} | {row.job_id for row in work.milestones if row.job_id}
    look, found = [job.pk for job in named], []
    while look:
        for pk in then.get(look.pop(), ()):
            if pk in seen:
                continue
            seen.add(pk)
            look.append(pk)
            if by_pk[pk].before == Before.LAUNCH and pk not in dropped:
                found.append(by_pk[pk])
    return sorted(found, key=lambda job: job.number)


def _changed(work: WorkList, dropped: set[int], moved: set[int], put: str) -> WorkList:
    """Return the work list as it would be read if this were kept."""
    jobs = []
    for job in work.jobs:
        if job.pk in dropped:
            continue
        jobs.append(_put(job, put) if job.pk in moved else job)
    after = {
        job: list(dict.fromkeys(_bridged(befores, work.after, dropped)))
        for job, befores in work.after.items()
        if job not in dropped
    }
    return replace(work, jobs=jobs, after=after, curing=_curing(work, dropped))


def _put(job: Job, before: str) -> Job:
    """Return a job like this one to be done before something else, to think with; it is never saved."""
    made = copy(job)
    made.before = before
    return made


def _bridged(befores: list[int], after: Mapping[int, list[int]], dropped: set[int]) -> list[int]:
    """Return what a job comes after, those dropped standing for what they come after."""
    found: list[int] = []
    look, seen = list(reversed(befores)), set(befores)
    while look:
        pk = look.pop()
        if pk not in dropped:
            found.append(pk)
            continue
        for before in reversed(after.get(pk, [])):
            if before not in seen:
                seen.add(before)
                look.append(before)
    return found


def _curing(work: WorkList, dropped: set[int]) -> dict[int, date]:
    """Return until when each job waits for a cure; what a dropped one waited for is waited for by what came after it."""
    curing = {pk: day for pk, day in work.curing.items() if pk not in dropped}
    for job, befores in work.after.items():
        look, seen = [pk for pk in befores if pk in dropped], set(befores)
        while look:
            pk = look.pop()
            if pk in work.curing:
                curing[job] = max(work.curing[pk], curing.get(job, work.curing[pk]))
            for before in work.after.get(pk, ()):
                if before in dropped and before not in seen:
                    seen.add(before)
                    look.append(before)
    return {pk: day for pk, day in curing.items() if pk not in dropped}


def _milestones(before: Netted, after: Netted) -> Iterable[MilestoneMoved]:
    for row in before.work.milestones:
        key = milestone_key(row)
        if key in before.plan.placed and key in after.plan.placed:
            yield MilestoneMoved(row, before.plan.placed[key].finish, after.plan.placed[key].finish)
