"""The work list as tasks of a plan: what comes after what, what is booked, when nobody works, what a milestone waits for.

Decides what waits for what beyond the arrows that people draw: launch waits for every job to be done before launch,
departure for those before departure too and for the launch, a job afloat for the launch; the job that reaches a
milestone comes after all that the milestone waits for. A job without days of work counts as one. Jobs left for later or
for another year, and jobs that are done, are not planned; what came before one that is put off still comes before what
came after it, and what a done job still has to cure is waited for. Knows no parts: when they are here is an argument.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from math import ceil

from refit.boat.models import Boat
from refit.calc.holidays_of import HolidayProblem, holidays_of
from refit.calc.plan import Booked, Task, WorkingDays
from refit.work.models import (
    OPEN_STATES,
    After,
    Before,
    Booking,
    DayAway,
    Job,
    Milestone,
    MilestoneKind,
    State,
    WorkTerms,
)

YEARS_AHEAD = 3  # so far public holidays are looked up


def job_key(job: Job) -> str:
    """Return the name of a job in a plan: its number."""
    return str(job.number)


def milestone_key(milestone: Milestone) -> str:
    """Return the name of a milestone in a plan; no job's number looks like it."""
    return f"m{milestone.pk}"


@dataclass
class WorkList:
    """Everything that a plan is made of, read once; jobs by number, arrows by the job that waits."""

    boat: Boat
    today: date
    terms: WorkTerms
    jobs: list[Job]
    after: dict[int, list[int]]
    curing: dict[int, date]
    bookings: dict[int, list[Booking]]
    milestones: list[Milestone]
    away: list[DayAway]
    holidays: frozenset[date] = field(default_factory=frozenset)

    @property
    def working(self) -> WorkingDays:
        """Return the days that are worked on this boat."""
        weekdays = frozenset(day for day, mark in enumerate(self.terms.weekdays) if mark == "1")
        return WorkingDays(
            weekdays, frozenset({*self.holidays, *((row.first, row.last) for row in self.away)})
        )

    @property
    def targets(self) -> dict[str, date]:
        """Return the day by which each milestone should be reached, where one is set."""
        return {milestone_key(row): row.target for row in self.milestones if row.target is not None}

    def without_milestones(self) -> "WorkList":
        """Return the same work list without milestones and what they imply."""
        return replace(self, milestones=[])

    def milestone(self, kind: str) -> Milestone | None:
        """Return the milestone of a kind that is still to be reached."""
        return next((row for row in self.milestones if row.kind == kind), None)


def read_work(boat: Boat, today: date) -> WorkList:
    """Read the work list in seven queries, however long it is."""
    jobs = list(Job.objects.to_do().filter(boat=boat).select_related("system", "space").order_by("number"))
    after, curing = _arrows(boat, today, {job.pk for job in jobs})
    bookings: dict[int, list[Booking]] = defaultdict(list)
    for booking in Booking.objects.filter(boat=boat, cancelled_at=None, job__state__in=OPEN_STATES):
        bookings[booking.job_id].append(booking)
    terms = WorkTerms.objects.filter(boat=boat).first() or WorkTerms(boat=boat)
    return WorkList(
        boat=boat,
        today=today,
        terms=terms,
        jobs=jobs,
        after=after,
        curing=curing,
        bookings=bookings,
        milestones=list(Milestone.objects.filter(boat=boat, reached_on=None)),
        away=list(DayAway.objects.filter(boat=boat)),
        holidays=_holidays(terms, today),
    )


def _arrows(boat: Boat, today: date, planned: set[int]) -> tuple[dict[int, list[int]], dict[int, date]]:
    """Return what each planned job comes after, and until when what was done before it cures.

    What came before a job that is put off still comes before what came after that.
    """
    arrows: dict[int, list[tuple[int, str, date | None, int]]] = defaultdict(list)
    rows = After.objects.filter(boat=boat).exclude(job__state=State.DONE).order_by("id")
    named = rows.values_list("job_id", "after_id", "after__state", "after__done_on", "after__cure_days")
    for job, before, state, done_on, cure_days in named:
        arrows[job].append((before, state, done_on, cure_days))
    after: dict[int, list[int]] = defaultdict(list)
    curing: dict[int, date] = {}
    for job in planned.intersection(arrows):
        look, seen = [job], {job}
        while look:
            for before, state, done_on, cure_days in arrows.get(look.pop(), ()):
                if before in seen:
                    continue
                seen.add(before)
                if before in planned:
                    after[job].append(before)
                elif state == State.DONE and not cure_days:
                    continue  # done is done, today too
                elif state == State.DONE:
                    free = done_on + timedelta(days=1 + cure_days) if done_on else today
                    if free > today:
                        curing[job] = max(free, curing.get(job, free))
                else:
                    look.append(before)
    return after, curing


def _holidays(terms: WorkTerms, today: date) -> frozenset[date]:
    if not terms.country:
        return frozenset()
    years = range(today.year, today.year + YEARS_AHEAD)
    try:
        return holidays_of(terms.country, terms.region, years)
    except HolidayProblem:  # brought in from elsewhere: no holidays rather than no page
        return frozenset()


def tasks_of(work: WorkList, parts: Mapping[int, tuple[date, str]] | None = None) -> list[Task]:
    """Return the jobs and milestones as tasks; `parts` says by job (primary key) when its last part is here, and which."""
    number = {job.pk: job_key(job) for job in work.jobs}
    waits = _waits(work)
    shared = {job.space_id for job in work.jobs if job.sole_use}
    tasks = [_task(work, job, waits[job.pk], number, shared, (parts or {}).get(job.pk)) for job in work.jobs]
    return tasks + [_moment(row, waits, number) for row in work.milestones]


Waits = dict[int | str, list[int | str]]  # jobs by primary key, milestones by their name in the plan


def _task(
    work: WorkList,
    job: Job,
    waits: list[int | str],
    number: Mapping[int, str],
    shared: set[int | None],
    parts: tuple[date, str] | None,
) -> Task:
    free = work.curing.get(job.pk)
    not_before = max((day for day in (job.not_before, free) if day is not None), default=None)
    return Task(
        key=job_key(job),
        days=ceil(job.days) if job.days is not None else 1,
        after=tuple(dict.fromkeys(_name(each, number) for each in waits)),
        not_before=not_before,
        parts_on=parts[0] if parts else None,
        parts_words=parts[1] if parts else "",
        booked=tuple(Booked(row.day, row.days, row.who) for row in work.bookings.get(job.pk, [])),
        cure_days=job.cure_days,
        space=str(job.space_id) if job.space_id in shared and job.space_id else None,
        begun_on=min(job.begun_on, work.today) if job.begun_on and job.state == State.IN_HAND else None,
        priority=job.priority,
    )


def _moment(row: Milestone, waits: Waits, number: Mapping[int, str]) -> Task:
    after = tuple(dict.fromkeys(_name(each, number) for each in waits[milestone_key(row)]))
    return Task(
        key=milestone_key(row), days=0, after=after, not_before=None if after else row.target, milestone=True
    )


def _name(waited_for: int | str, number: Mapping[int, str]) -> str:
    return waited_for if isinstance(waited_for, str) else number[waited_for]


def _waits(work: WorkList) -> Waits:
    """Return what each job and milestone waits for: the arrows, and what a milestone gathers or opens."""
    waits: Waits = defaultdict(list)
    for job in work.jobs:
        waits[job.pk] += work.after.get(job.pk, [])
    planned = {job.pk for job in work.jobs}
    launch, departure = work.milestone(MilestoneKind.LAUNCH), work.milestone(MilestoneKind.DEPARTURE)
    for row in work.milestones:
        gathered = _gathered(work, row)
        by = row.job_id if row.job_id in planned else None
        if by is None:
            waits[milestone_key(row)] += gathered
        else:
            later = _downstream(work, by)
            waits[by] += [pk for pk in gathered if pk not in later]
            waits[milestone_key(row)] += [by, *(pk for pk in gathered if pk in later and pk != by)]
    if launch is not None:
        leading = {launch.job_id, departure.job_id if departure else None}
        for job in work.jobs:
            if job.before == Before.AFLOAT and job.pk not in leading:
                waits[job.pk].append(milestone_key(launch))
        if departure is not None:
            waits[milestone_key(departure)].append(milestone_key(launch))
    return waits


def _gathered(work: WorkList, row: Milestone) -> list[int | str]:
    """Return the jobs that a milestone waits for by what they are to be done before."""
    kinds: tuple[str, ...] = ()
    if row.kind == MilestoneKind.LAUNCH:
        kinds = (Before.LAUNCH,)
    elif row.kind == MilestoneKind.DEPARTURE:
        kinds = (Before.LAUNCH, Before.DEPARTURE)
    return [job.pk for job in work.jobs if job.before in kinds]


def _downstream(work: WorkList, start: int) -> set[int]:
    """Return a job and everything that comes after it by arrow."""
    then: dict[int, list[int]] = defaultdict(list)
    for job, befores in work.after.items():
        for before in befores:
            then[before].append(job)
    found, look = {start}, [start]
    while look:
        for job in then[look.pop()]:
            if job not in found:
                found.add(job)
                look.append(job)
    return found
