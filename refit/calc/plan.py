"""The plan in dates: which day each job falls on, how late it may be, and what each milestone hangs on.

Decides how jobs, bookings, parts, spaces and days away make dates. Today is an argument. Method: the critical path
method over the owner's working days, with a serial placement of the jobs that share a space (as in textbooks of
project scheduling): simple and repeatable, not promised to be the shortest plan there is.
"""

from collections.abc import Iterable, Mapping
from datetime import date

from .holds import Reasons
from .late import clamped, latest
from .placing import Span, Work, early, in_spaces, works
from .schedule import Unworkable, in_order, quoted
from .tasks import (
    LONGEST,
    Booked,
    Clash,
    Difference,
    Held,
    Hold,
    Link,
    Moved,
    Placed,
    Plan,
    Task,
)
from .working import WorkingDays, to_date

__all__ = [
    "Booked",
    "Clash",
    "Difference",
    "Held",
    "Hold",
    "Link",
    "Moved",
    "Placed",
    "Plan",
    "Task",
    "WorkingDays",
    "chain",
    "compare",
    "plan",
]


def plan(
    tasks: Iterable[Task],
    working: WorkingDays,
    start: date,
    targets: Mapping[str, date],
) -> Plan:
    """Return tasks in dates from today, `start`, on.

    `targets` gives days that milestones should be reached by; those of tasks that are not there are passed over. Planned
    without the days of parts, the late starts are the days on which parts are wanted. Raise `Unworkable`, a ValueError
    that names the tasks, for a circle, a task after itself or after one that is not there, a key twice, days below nil or
    over 10,000, and a plan of more than 200 years.
    """
    given = list(tasks)
    for task in given:
        _check(task)
    order = in_order([(task.key, task.after) for task in given])
    work = works(given, order, working, start, targets)
    free = early(work, working)
    late = [one.first for one in latest(work, free, {}, working)]
    spans, spaces = in_spaces(work, free, late, working)
    due = latest(work, spans, spaces, working)
    reasons = Reasons(work, spans, spaces, working)
    placed = {}
    clashes = []
    for place, (one, span, last) in enumerate(zip(work, spans, due, strict=True)):
        first = to_date(span.first)
        placed[one.task.key] = Placed(
            start=_begins(one, span),
            finish=to_date(span.last),
            works_from=first,
            free_from=to_date(span.free),
            late_start=to_date(clamped(last.first)),
            late_finish=to_date(clamped(last.last)),
            total_float=last.total,
            free_float=last.free,
            held_by=reasons.hold(place),
        )
        clashes += reasons.clashes(place) if one.bookings else []
    return Plan(
        start=start,
        end=max((one.finish for one in placed.values()), default=start),
        placed={task.key: placed[task.key] for task in given},
        clashes=tuple(sorted(clashes, key=lambda clash: (clash.booked.day, clash.key))),
        milestones=tuple(task.key for task in given if task.milestone),
        targets={key: day for key, day in targets.items() if key in placed},
    )


def chain(made: Plan, key: str) -> tuple[Link, ...]:
    """Return what a task hangs on, from the root to the task itself."""
    links: list[Link] = []
    next_key: str | None = key
    while next_key is not None:
        one = made.placed[next_key]
        hold = one.held_by
        links.append(Link(next_key, hold.kind, hold.words, one.works_from, one.finish))
        if hold.key is None:
            links.append(Link(None, hold.kind, hold.words, hold.on, hold.on))
        next_key = hold.key
    return tuple(reversed(links))


def compare(before: Plan, after: Plan) -> Difference:
    """Return what a second plan changes against a first, in calendar days."""
    moved = []
    for key, now in after.placed.items():
        was = before.placed.get(key)
        if was is not None and (was.start, was.finish) != (now.start, now.finish):
            moved.append(Moved(key, (now.start - was.start).days, (now.finish - was.finish).days))
    return Difference(
        milestones={
            key: (after.placed[key].finish - before.placed[key].finish).days
            for key in after.milestones
            if key in before.placed
        },
        moved=tuple(moved),
        gone=tuple(key for key in before.placed if key not in after.placed),
        new=tuple(key for key in after.placed if key not in before.placed),
        clashes=_only_in(after.clashes, before.clashes),
        kept=_only_in(before.clashes, after.clashes),
    )


def _begins(one: Work, span: Span) -> date:
    """Return the first day of a task, which lies before today for what is in hand."""
    begun = one.task.begun_on
    first = min([span.first, *span.booked])
    return to_date(min(first, begun.toordinal()) if begun else first)


def _only_in(these: Iterable[Clash], those: Iterable[Clash]) -> tuple[Clash, ...]:
    known = {(clash.key, clash.booked) for clash in those}
    return tuple(clash for clash in these if (clash.key, clash.booked) not in known)


def _check(task: Task) -> None:
    """Refuse days that cannot be."""
    for days in (task.days, task.cure_days, *(visit.days for visit in task.booked)):
        if not 0 <= days <= LONGEST:
            raise Unworkable(
                f"{quoted(task.key)} has {days} days; write 0 to {LONGEST:,}.",
                "days",
                [task.key],
            )
    for visit in task.booked:
        if visit.days < 1:
            raise Unworkable(
                f"A booking of {quoted(task.key)} is for {visit.days} days; write 1 or more.",
                "days",
                [task.key],
            )
