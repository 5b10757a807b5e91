"""Placing tasks on days, early and late: the two passes of the critical path method over a calendar.

Decides on which days a task falls, given what comes before it and what its space holds, and how late it may be. Days
are ordinals here; `plan` turns them into dates and says why. Everything is in proportion to the tasks and arrows, save
spaces that are cut into very many gaps.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from heapq import heapify, heappop, heappush

from .schedule import Unworkable, quoted
from .tasks import Task
from .working import WorkingDays

HORIZON = 73_050  # days: 200 years on, a plan is a typing error
ROUNDS = 4  # so often all is placed again before bookings hold no days beforehand


@dataclass(frozen=True)
class Span:
    """Days of a task: worked from, never before today, and to (included), and the day on which it lets others start."""

    first: int
    last: int
    free: int
    booked: tuple[int, ...] = ()  # the day each booking falls on


@dataclass(frozen=True)
class Work:
    """A task as the passes need it; `floor` is the first day but for what comes before it, 0 where nothing says so."""

    task: Task
    before: tuple[int, ...]
    floor: int
    today: int
    target: int | None
    bookings: tuple[tuple[int, int], ...]  # first and last day of each, sorted
    days: int

    @property
    def a_moment(self) -> bool:
        """Say whether what comes after may start on its own day."""
        return self.task.milestone or (self.days == 0 and not self.bookings)

    def kept(self, span: Span) -> bool:
        """Say whether it is booked and falls on its booked days."""
        return bool(self.bookings) and span.booked == tuple(day for day, _last in self.bookings)

    def span(self, ready: int, working: WorkingDays) -> Span:
        """Return its days when nothing holds it from `ready` on."""
        from_here = max(ready, self.today)
        if self.bookings:
            return self._booked_span(ready, from_here, working)
        first = working.on_or_after(from_here)
        if self.target is not None and from_here <= self.target < first:
            first = self.target  # its own day was chosen, worked or not
        last = first if self.a_moment else working.at(working.index(first) + self.days - 1)
        return Span(first, last, last + (0 if self.a_moment else 1) + self.task.cure_days)

    def _booked_span(self, ready: int, from_here: int, working: WorkingDays) -> Span:
        """Return days where each booking keeps its own if it can; else the first possible, after those before it.

        A visit that has begun and is not over goes on.
        """
        days: list[int] = []
        ends: list[int] = []
        for number, (day, last) in enumerate(self.bookings):
            earlier = [
                end + 1
                for end, (_day, its_last) in zip(ends, self.bookings[:number], strict=True)
                if its_last < day
            ]
            if max([ready, *earlier]) <= max(day, self.today) and last >= self.today:
                days.append(day)
            else:
                days.append(working.on_or_after(max([from_here, *earlier])))
            ends.append(days[-1] + last - day)
        end = max(ends)
        free = end + (0 if self.a_moment else 1) + self.task.cure_days
        return Span(max(min(days), self.today), end, free, tuple(days))


@dataclass
class Space:
    """The days on which a space is taken; none overlaps another."""

    firsts: list[int] = field(default_factory=list)
    frees: list[int] = field(default_factory=list)
    works: list[int] = field(default_factory=list)
    # The same, with what touches or leaves only days that nobody works in between run together.
    shut: list[int] = field(default_factory=list)
    opens: list[int] = field(default_factory=list)

    def take(self, span: Span, work: int, working: WorkingDays) -> None:
        """Take the days of a span for a work."""
        if span.free <= span.first:
            return
        place = bisect_left(self.firsts, span.first)
        self.firsts.insert(place, span.first)
        self.frees.insert(place, span.free)
        self.works.insert(place, work)
        first, free = span.first, working.on_or_after(span.free)
        left, right = bisect_left(self.opens, first), bisect_right(self.shut, free)
        if left < right:
            first, free = min(first, self.shut[left]), max(free, self.opens[right - 1])
        self.shut[left:right] = [first]
        self.opens[left:right] = [free]

    def in_the_way(self, span: Span, work: int) -> int | None:
        """Return the number in the list of what holds a day of the span, first of all; never the work itself."""
        place = bisect_right(self.frees, span.first)
        while place < len(self.firsts) and self.firsts[place] < span.free:
            if self.works[place] != work:
                return place
            place += 1
        return None

    def open_from(self, span: Span) -> int | None:
        """Return the day to try next, or None where the space is free on all days of the span."""
        place = bisect_right(self.opens, span.first)
        if place < len(self.shut) and self.shut[place] < span.free:
            return self.opens[place]
        return None


def works(
    tasks: Sequence[Task],
    order: Sequence[str],
    working: WorkingDays,
    start: date,
    targets: Mapping[str, date],
) -> list[Work]:
    """Return the works of tasks in order, so that each stands after what it comes after."""
    number = {key: place for place, key in enumerate(order)}
    today = start.toordinal()
    made: list[Work | None] = [None] * len(tasks)
    for task in tasks:
        target = targets.get(task.key)
        made[number[task.key]] = Work(
            task=task,
            before=tuple(number[key] for key in dict.fromkeys(task.after)),
            floor=max(day.toordinal() if day else 0 for day in (task.not_before, task.parts_on)),
            today=today,
            target=target.toordinal() if target else None,
            bookings=_bookings(task, today),
            days=_days_left(task, working, today),
        )
    return [work for work in made if work is not None]


def _bookings(task: Task, today: int) -> tuple[tuple[int, int], ...]:
    """Return the first and last days booked; visits that are over count only where no other is to come."""
    days = sorted((visit.day.toordinal(), visit.day.toordinal() + visit.days - 1) for visit in task.booked)
    to_come = [visit for visit in days if visit[1] >= today]
    return tuple(to_come if to_come or task.begun_on else days)


def _days_left(task: Task, working: WorkingDays, today: int) -> int:
    """Return the working days still to do; what is in hand has a day at least."""
    if task.milestone or not task.days:
        return 0
    if not task.begun_on or task.begun_on.toordinal() >= today:
        return task.days
    return max(1, task.days - (working.index(today) - working.index(task.begun_on.toordinal())))


def early(work: Sequence[Work], working: WorkingDays) -> list[Span]:
    """Return the earliest days of every work, as if no space were ever taken."""
    spans: list[Span] = []
    for one in work:
        spans.append(_within(one, one.span(_ready(one, spans), working)))
    return spans


def _ready(one: Work, spans: Sequence[Span | None]) -> int:
    ready = one.floor
    for before in one.before:
        span = spans[before]
        assert span is not None  # what comes before is placed before
        ready = max(ready, span.free)
    return ready


def _within(one: Work, span: Span) -> Span:
    if span.free > one.today + HORIZON:
        year = date.fromordinal(one.today).year + 200
        raise Unworkable(
            f"{quoted(one.task.key)} would end after the year {year}; look at its days and dates.",
            "too-far",
            [one.task.key],
        )
    return span


def in_spaces(
    work: Sequence[Work], spans: Sequence[Span], late: Sequence[int], working: WorkingDays
) -> tuple[list[Span], dict[str, Space]]:
    """Return the days of every work when those of one space never share a day, and what each space holds.

    A moment takes no day of a space. Serial placement: of all whose predecessors are placed, the one in hand, then with the earliest late start, then
    priority, then key, goes on the first days free. What is in hand and a booking that can be met hold their days in
    their space from the beginning; where it turns out that they cannot, all is placed again without that.
    """
    if not any(one.task.space for one in work):
        return list(spans), {}
    sure = {place for place, one in enumerate(work) if one.task.space and _fixed(one, spans[place])}
    rounds = 0
    while True:
        fixed, spaces = _reserved(work, spans, sure, working)
        placed = _serial(work, late, fixed, spaces, working)
        failed = {place for place, span in fixed.items() if placed[place] != span}
        rounds += 1
        if not failed:
            return placed, spaces
        sure = sure - failed if rounds < ROUNDS else set()


def _fixed(one: Work, span: Span) -> bool:
    """Say whether its days stand before any other's: booked and met, or in hand and nothing in its way."""
    if one.bookings:
        return one.kept(span)
    return one.task.begun_on is not None and one.floor <= one.today


def _reserved(
    work: Sequence[Work], spans: Sequence[Span], sure: Iterable[int], working: WorkingDays
) -> tuple[dict[int, Span], dict[str, Space]]:
    """Return the days that stand and the spaces that hold them; of two at once, what is in hand, then the earlier."""
    spaces: dict[str, Space] = {one.task.space: Space() for one in work if one.task.space}
    fixed = {}
    order = sorted(
        sure,
        key=lambda place: (
            bool(work[place].bookings),
            spans[place].first,
            work[place].task.priority,
            work[place].task.key,
        ),
    )
    for place in order:
        space = spaces[work[place].task.space or ""]
        if space.in_the_way(spans[place], place) is None:
            space.take(spans[place], place, working)
            fixed[place] = spans[place]
    return fixed, spaces


def _serial(
    work: Sequence[Work],
    late: Sequence[int],
    fixed: Mapping[int, Span],
    spaces: Mapping[str, Space],
    working: WorkingDays,
) -> list[Span]:
    """Place all, one after the other; the spaces hold what is fixed before, and everything after."""
    thens: list[list[int]] = [[] for _one in work]
    for place, one in enumerate(work):
        for before in one.before:
            thens[before].append(place)
    rank = [
        (one.task.begun_on is None, late[place], one.task.priority, one.task.key, place)
        for place, one in enumerate(work)
    ]
    waits = [len(one.before) for one in work]
    heap = [rank[place] for place, count in enumerate(waits) if not count]
    heapify(heap)
    placed: list[Span | None] = [None] * len(work)
    while heap:
        place = heappop(heap)[-1]
        one = work[place]
        ready = _ready(one, placed)
        span = one.span(ready, working)
        if one.task.space and span.free > span.first and span != fixed.get(place):
            space = spaces[one.task.space]
            span = _first_free(one, place, ready, space, working)
            space.take(span, place, working)
        placed[place] = _within(one, span)
        for then in thens[place]:
            waits[then] -= 1
            if not waits[then]:
                heappush(heap, rank[then])
    return [span for span in placed if span is not None]


def _first_free(one: Work, place: int, ready: int, space: Space, working: WorkingDays) -> Span:
    """Return the first days from `ready` on at which its space is free."""
    span = one.span(ready, working)
    while True:
        _within(one, span)
        if one.bookings:
            found = space.in_the_way(span, place)
            again = None if found is None else space.frees[found]
        else:
            again = space.open_from(span)
        if again is None:
            return span
        span = one.span(again, working)
