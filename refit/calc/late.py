"""How late each placed task may be, and how far it may slip: the backward pass over a calendar.

Decides which day each milestone is due: its target, else its own computed day where no milestone with a target comes
after it. What leads to no milestone is due by the end of the plan. Days are ordinals.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from .placing import Space, Span, Work
from .working import FIRST, WorkingDays


@dataclass(frozen=True)
class Latest:
    """The latest days of a task, and by how many working days it may slip in all, and without moving another."""

    first: int
    last: int
    total: int
    free: int


def latest(
    work: Sequence[Work], spans: Sequence[Span], spaces: Mapping[str, Space], working: WorkingDays
) -> list[Latest]:
    """Return how late every work may be; in a space, the work that follows there comes after the one before it."""
    thens = _thens(work, spaces)
    over = max((_over(one, span.last) for one, span in zip(work, spans, strict=True)), default=0)
    end = working.on_or_after(over)
    due: dict[int, Latest] = {}
    aimed = [False] * len(work)  # a target lies on it or after it
    for place in sorted(range(len(work)), key=lambda place: (spans[place].first, place), reverse=True):
        one, span = work[place], spans[place]
        after = thens[place]
        aimed[place] = one.target is not None or any(aimed[then] for then in after)
        lasts = [_free_by(one, due[then].first) for then in after]
        if one.target is not None:
            lasts.append(one.target)
        elif one.task.milestone and not aimed[place]:
            lasts.append(span.last)
        first, last = _backwards(one, span, min(lasts, default=end - _over(one, 0)), working)
        total = working_gap(span.first, first, working)
        free = total
        if after:
            soonest = min(_free_by(one, spans[then].first) for then in after)
            free = min(total, working_gap(span.first, _room(one, span, soonest, working), working))
        due[place] = Latest(first, last, total, max(0, free))
    return [due[place] for place in range(len(work))]


def _thens(work: Sequence[Work], spaces: Mapping[str, Space]) -> list[list[int]]:
    """Return what comes after each work, by arrow or as the next one in its space."""
    thens: list[list[int]] = [[] for _one in work]
    for place, one in enumerate(work):
        for before in one.before:
            thens[before].append(place)
    for space in spaces.values():
        for first, then in zip(space.works, space.works[1:], strict=False):
            thens[first].append(then)
    return thens


def _free_by(one: Work, day: int) -> int:
    """Return the last day of a work that leaves the way free on a day."""
    return day - one.task.cure_days - _over(one, 0)


def _over(one: Work, last: int) -> int:
    """Return the day on which a work with this last day is over: the next one, but for a moment."""
    return last if one.a_moment else last + 1


def _backwards(one: Work, span: Span, last: int, working: WorkingDays) -> tuple[int, int]:
    """Return the latest first and last day of a work that is over on `last`; a booked one is due when booked."""
    if one.bookings:
        first = min(_room(one, span, last, working), span.first if one.kept(span) else one.bookings[0][0])
        return first, first + span.last - span.first
    if one.a_moment:
        day = _room(one, span, last, working)
        return day, day
    end = working.on_or_before(last)
    return working.at(working.index(end) - one.days + 1), end


def _room(one: Work, span: Span, last: int, working: WorkingDays) -> int:
    """Return the latest first day of a work that is over on `last`, whatever is booked."""
    if one.bookings:
        return last - (span.last - span.first)
    if one.a_moment:
        return last if last == one.target else working.on_or_before(last)
    return working.at(working.index(last + 1) - one.days)


def working_gap(first: int, late: int, working: WorkingDays) -> int:
    """Return the working days from one day to a later one; to an earlier one negative, a day at least."""
    gap = working.index(late) - working.index(first)
    return gap if late >= first else min(gap, -1)


def clamped(ordinal: int) -> int:
    """Return an ordinal that a calendar has, for late days that lie before all calendars."""
    return max(FIRST, ordinal)
