"""Critical path: early and late times, total and free float of activities that come after one another.

Method: the forward and the backward pass of the critical path method, as in any textbook of management science:
early start = the latest early finish of what comes before, late finish = the earliest late start of what comes after.
Times are counted from 0 in the unit of the days given. Decides nothing about dates; `plan` does the same in dates.
"""

from collections import deque
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from .problems import Problem, shown

Days = int | Decimal
Node = TypeVar("Node", bound=Hashable)
NAME_LIMIT = 120


class Unworkable(Problem):
    """Work that cannot be put in order; `names` are the jobs it is about, those of a circle in order of work."""

    def __init__(self, message: str, code: str, names: Sequence[str] = ()) -> None:
        super().__init__(message, code)
        self.names = tuple(names)


@dataclass(frozen=True)
class Activity:
    """A piece of work: its days (nil or more), the names of what it comes after, and the first time it may start."""

    name: str
    days: Days
    after: tuple[str, ...] = ()
    not_before: Days = 0


@dataclass(frozen=True)
class Timing:
    """Times of one activity from 0, in days; it finishes at the moment at which the next may start."""

    early_start: Days
    early_finish: Days
    late_start: Days
    late_finish: Days
    total_float: Days
    free_float: Days


def schedule(activities: Iterable[Activity]) -> dict[str, Timing]:
    """Return the times of every activity, in the order given.

    The late times count back from the end of the last activity; the free float of what nothing comes after is that
    end less its own. Raise `Unworkable`, a ValueError that names the jobs, for a circle, an activity after itself,
    one after something unknown, a name given twice, and days below nil.
    """
    jobs = list(activities)
    _check_days(jobs)
    order = in_order([(job.name, job.after) for job in jobs])
    known = {job.name: job for job in jobs}
    starts: dict[str, Days] = {}
    ends: dict[str, Days] = {}
    for name in order:
        job = known[name]
        starts[name] = max([0, job.not_before, *(ends[before] for before in job.after)])
        ends[name] = starts[name] + job.days
    end = max(ends.values(), default=0)
    late = dict.fromkeys(order, end)  # late finish
    soonest = dict.fromkeys(order, end)  # early start of what comes next
    for name in reversed(order):
        for before in known[name].after:
            late[before] = min(late[before], late[name] - known[name].days)
            soonest[before] = min(soonest[before], starts[name])
    return {
        job.name: Timing(
            early_start=starts[job.name],
            early_finish=ends[job.name],
            late_start=late[job.name] - job.days,
            late_finish=late[job.name],
            total_float=late[job.name] - ends[job.name],
            free_float=soonest[job.name] - ends[job.name],
        )
        for job in jobs
    }


def in_order(jobs: Sequence[tuple[str, tuple[str, ...]]]) -> list[str]:
    """Return the names so that each stands after all that it comes after; of equals, the one given first.

    A job is its name and the names of what it comes after. Raise `Unworkable` as `schedule` does.
    """
    known: set[str] = set()
    for name, _after in jobs:
        if name in known:
            raise Unworkable(f"{quoted(name)} is there twice; each job is planned once.", "twice", [name])
        known.add(name)
    for name, after in jobs:
        _check_after(name, after, known)
    arrows = [(before, name) for name, after in jobs for before in dict.fromkeys(after)]
    order, stuck = _strip([name for name, _after in jobs], arrows)
    if stuck:
        raise circle(find_cycle(arrows))
    return order


def find_cycle(arrows: Iterable[tuple[Node, Node]]) -> tuple[Node, ...]:
    """Return the jobs of a circle in order of work, or () where there is none.

    An arrow is (what comes first, what comes after it). (a, b, c) means a before b before c, and c before a again;
    a job after itself is a circle of one. Takes time in proportion to the arrows.
    """
    given = list(arrows)
    nodes = list(dict.fromkeys(node for arrow in given for node in arrow))
    _order, stuck = _strip(nodes, given)
    if not stuck:
        return ()
    before: dict[Node, Node] = {}
    for first, then in given:
        if first in stuck and then in stuck:
            before.setdefault(then, first)
    # Each one that is stuck has one before it that is stuck too: going back must come round.
    node = next(node for node in nodes if node in stuck)
    seen: dict[Node, int] = {}
    walked: list[Node] = []
    while node not in seen:
        seen[node] = len(walked)
        walked.append(node)
        node = before[node]
    return tuple(reversed(walked[seen[node] :]))


def circle(names: Sequence[str]) -> Unworkable:
    """Return the refusal for jobs that wait for each other in a circle, named in order of work."""
    if len(names) == 1:
        return Unworkable(f"{quoted(names[0])} cannot come after itself.", "itself", names)
    way = " → ".join(quoted(name) for name in (*names, names[0]))
    return Unworkable(
        f"These jobs wait for each other in a circle: {way}. Take one of them out.", "circle", names
    )


def _strip(nodes: Sequence[Node], arrows: Iterable[tuple[Node, Node]]) -> tuple[list[Node], set[Node]]:
    """Return what can be put in order, and what cannot as it lies on a circle or after one."""
    waits = dict.fromkeys(nodes, 0)
    thens: dict[Node, list[Node]] = {node: [] for node in nodes}
    for first, then in arrows:
        waits[then] += 1
        thens[first].append(then)
    free = deque(node for node in nodes if not waits[node])
    order: list[Node] = []
    while free:
        node = free.popleft()
        order.append(node)
        for then in thens[node]:
            waits[then] -= 1
            if not waits[then]:
                free.append(then)
    return order, set(nodes).difference(order)


def _check_after(name: str, after: tuple[str, ...], known: set[str]) -> None:
    if name in after:
        raise circle([name])
    for before in after:
        if before not in known:
            raise Unworkable(
                f"{quoted(name)} comes after {quoted(before)}, which is not among the jobs.",
                "unknown",
                [name, before],
            )


def _check_days(jobs: Iterable[Activity]) -> None:
    for job in jobs:
        if not (Decimal(job.days).is_finite() and Decimal(job.not_before).is_finite()):
            raise Unworkable(f"The days of {quoted(job.name)} are not a number.", "days", [job.name])
        if job.days < 0:
            raise Unworkable(
                f"{quoted(job.name)} would take {job.days} days; write 0 or more.", "days", [job.name]
            )


def quoted(name: str) -> str:
    """Return a name fit for a sentence, unprintable letters replaced."""
    return shown(name, NAME_LIMIT)
