"""The plan as rows: each job and milestone with its days, its float and what holds its start, in words, and its bar.

Decides what is called critical: what a milestone hangs on, and what has no day in hand; a booked job that keeps its
booking cannot slip, and is critical only where a milestone hangs on it. Reads nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from refit.buying.hanging import Names, held_words, long
from refit.buying.netted import Netted
from refit.calc.plan import Held, Placed, Task, chain
from refit.pages.acting import at
from refit.pages.forms.plan import PlanView
from refit.reports.axis import Span
from refit.reports.bars import Bar, BarSheet, reach
from refit.reports.workbook import Column, Kind
from refit.work.models import Before, Booking, Job, Milestone, State
from refit.work.planning import job_key, milestone_key, tasks_of

NOWHERE = "Towards no milestone"
COLUMNS = (
    Column("Job", Kind.NUMBER),
    Column("What"),
    Column("System"),
    Column("Towards"),
    Column("State"),
    Column("Start", Kind.DATE),
    Column("Finish", Kind.DATE),
    Column("Latest start", Kind.DATE),
    Column("Days in hand", Kind.NUMBER),
    Column("Critical"),
    Column("What holds it"),
    Column("Booked"),
)


@dataclass(frozen=True)
class Row:
    """One job or milestone of the plan, ready to show."""

    key: str
    name: str
    go: str
    placed: Placed
    float_words: str
    hold: str
    critical: bool
    late: bool
    bar: Bar
    job: Job | None = None
    milestone: Milestone | None = None
    bookings: tuple[Booking, ...] = ()

    @property
    def group(self) -> str:
        return self.bar.group


def rows_of(request: Any, net: Netted, by: str) -> list[Row]:
    """Return all rows of the plan in their groups, the one begun first on top, milestones last in theirs."""
    names = Names(net)
    critical = critical_of(net)
    towards = _towards(net, tasks_of(net.work))
    rows = []
    for key, placed in net.plan.placed.items():
        job, milestone = names.jobs.get(key), names.milestones.get(key)
        group = towards.get(key, NOWHERE) if by == "milestone" else job.system.name if job else "Milestones"
        rows.append(_row(request, net, key, placed, names, critical, group, job, milestone))
    order = _order(net, towards, by)
    return sorted(
        rows, key=lambda row: (order(row.group), row.milestone is not None, row.placed.start, _place(row))
    )


def _place(row: Row) -> tuple[int, int]:
    return (row.job.priority, row.job.number) if row.job else (9, 0)


def critical_of(net: Netted) -> frozenset[str]:
    """Return the keys of what a milestone hangs on, and of what has no day in hand."""
    hung = {link.key for key in net.plan.milestones for link in chain(net.plan, key) if link.key}
    tight = {
        key
        for key, placed in net.plan.placed.items()
        if placed.total_float < 0 or (placed.total_float == 0 and placed.held_by.kind is not Held.BOOKED)
    }
    return frozenset(hung | tight)


def float_words(placed: Placed, critical: bool) -> str:
    """Return how far a job may slip, in words."""
    spare = placed.total_float
    if spare < 0:
        return f"late by {_working(-spare)}"
    if critical:
        return "on the critical path" + (f", {_working(spare)} before the day that was set" if spare else "")
    return f"{_working(spare)} in hand" if spare else "cannot slip"


def _working(count: int) -> str:
    return f"{count} working day{'' if count == 1 else 's'}"


def _row(
    request: Any,
    net: Netted,
    key: str,
    placed: Placed,
    names: Names,
    critical: frozenset[str],
    group: str,
    job: Job | None,
    milestone: Milestone | None,
) -> Row:
    bookings = tuple(net.work.bookings.get(job.pk, ())) if job else ()
    target = milestone.target if milestone else None
    late = placed.total_float < 0 or bool(target and placed.finish > target)
    is_critical = key in critical and milestone is None
    go = at(request, "job", job.number) if job else ""
    name = f"{job.number} {job.title}" if job else names.of(key)
    bar = Bar(
        key=key,
        label=name,
        start=placed.start,
        finish=placed.finish,
        href=go or None,
        cure_until=placed.free_from - timedelta(days=1) if job and job.cure_days else None,
        late_finish=placed.late_finish if job and placed.total_float > 0 else None,
        critical=is_critical,
        late=late,
        booked=tuple(Span(row.day, row.day + timedelta(days=row.days - 1), row.who) for row in bookings),
        milestone=milestone is not None,
        state=_state(placed, job, target),
        group=group,
    )
    words = float_words(placed, key in critical) if job else _state(placed, None, target)
    begun = job is not None and job.state == State.IN_HAND and placed.held_by.kind is Held.TODAY
    hold = f"in hand since {long(placed.start)}" if begun else held_words(placed.held_by, names)
    return Row(key, name, go, placed, words, hold, is_critical, late, bar, job, milestone, bookings)


def _state(placed: Placed, job: Job | None, target: date | None) -> str:
    if job is None:
        return f"{long(placed.finish)}, set for {long(target)}" if target else long(placed.finish)
    return "in hand" if job.state == State.IN_HAND else ""


def _towards(net: Netted, tasks: Iterable[Task]) -> dict[str, str]:
    """Return, by key, the name of the first milestone that waits for it."""
    before = {task.key: task.after for task in tasks}
    found: dict[str, str] = {}
    for row in sorted(net.work.milestones, key=lambda row: _day_of(net, row)):
        key = milestone_key(row)
        look = [key] if key in net.plan.placed else []
        while look:
            one = look.pop()
            if one not in found:
                found[one] = row.name
                look += before.get(one, ())
    for job in net.work.jobs:  # a plan without milestones still knows what is to be done before what
        found.setdefault(job_key(job), NOWHERE if net.work.milestones else Before(job.before).label)
    return found


def _day_of(net: Netted, row: Milestone) -> tuple[date, int]:
    placed = net.plan.placed.get(milestone_key(row))
    return (placed.finish if placed else date.max, row.pk)


def _order(net: Netted, towards: dict[str, str], by: str) -> Any:
    """Return the place of a group among the others: milestones by day, systems by name."""
    if by == "system":
        return lambda group: (group == "Milestones", group.casefold())
    stones = [row.name for row in sorted(net.work.milestones, key=lambda row: _day_of(net, row))]
    named = [*stones, *Before.labels]
    places = {name: place for place, name in reversed(list(enumerate(named)))}
    return lambda group: (places.get(group, len(named)), group)


def shown(rows: list[Row], view: PlanView) -> list[Row]:
    """Return the rows that touch the days looked at and pass the sieve; milestones stay where jobs are left out."""
    return [row for row in rows if _touches(row, view) and passes(row, view)]


def _touches(row: Row, view: PlanView) -> bool:
    first, last = reach(replace(row.bar, late_finish=None))  # days to spare alone bring no job into sight
    return first <= view.last and last >= view.first


def passes(row: Row, view: PlanView) -> bool:
    if row.job is None:
        return not (view.booked or view.system or view.space)
    return (
        (view.system is None or row.job.system_id == view.system)
        and (view.space is None or row.job.space_id == view.space)
        and (not view.critical or row.critical or row.late)
        and (not view.booked or bool(row.bookings))
    )


def sheet_of(net: Netted, title: str, rows: Iterable[Row], first: date, last: date) -> BarSheet:
    """Return rows as a sheet to draw, with the days on which nobody works."""
    return BarSheet(
        title=title,
        first=first,
        last=last,
        today=net.today,
        rows=[row.bar for row in rows],
        workdays=net.work.working.weekdays,
        away=tuple(Span(row.first, row.last, row.why) for row in net.work.away),
    )


def file_row(row: Row) -> list[Any]:
    """Return a row as the values of the spreadsheet's columns."""
    placed, job = row.placed, row.job
    return [
        job.number if job else None,
        job.title if job else row.name,
        job.system.name if job else "",
        row.group if job else "",
        job.get_state_display() if job else "Milestone",
        placed.start,
        placed.finish,
        placed.late_start if placed.late_start.year > 1900 else None,
        placed.total_float,
        "yes" if row.critical else "",
        row.hold,
        "; ".join(f"{each.who} {long(each.day)}" for each in row.bookings),
    ]
