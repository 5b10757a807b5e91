"""Why a task starts on the day it does, and why a booking cannot be met.

Decides which of all that a task waits for really binds it: what is over latest; of equals a part, then a task before
it, then a typed day. Days are ordinals.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from datetime import date

from .placing import Space, Span, Work
from .tasks import Booked, Clash, Held, Hold
from .working import WorkingDays, to_date

Cause = tuple[Held, int | None, str | None, int]  # kind, number of the work behind it, words, day


class Reasons:
    """Reads a finished placement; asks why."""

    def __init__(
        self,
        work: Sequence[Work],
        spans: Sequence[Span],
        spaces: Mapping[str, Space],
        working: WorkingDays,
    ) -> None:
        self.work, self.spans, self.spaces, self.working = work, spans, spaces, working

    def hold(self, place: int) -> Hold:
        """Return what binds the start of a work."""
        one, span = self.work[place], self.spans[place]
        if one.bookings and span.booked[0] == one.bookings[0][0]:
            who = next((visit.who for visit in sorted(one.task.booked, key=_day) if _counts(visit, span)), "")
            return Hold(Held.BOOKED, None, who or None, to_date(span.first))
        return self._as_hold(self._cause(place))

    def clashes(self, place: int) -> list[Clash]:
        """Return the bookings of a work that are not met, each with its cause."""
        one, span = self.work[place], self.spans[place]
        found: list[Clash] = []
        visits = list(one.task.booked)
        why: Cause | None = None
        for (day, last), possible in zip(one.bookings, span.booked, strict=True):
            visit = next(
                visit for visit in visits if visit.day.toordinal() == day and visit.days == last - day + 1
            )
            visits.remove(visit)
            if day == possible:
                continue
            # A later visit that nothing else holds waits for the one before it, for the same cause.
            why = self._why_not(place, day, last) or why or self._cause(place)
            key = None if why[1] is None else self.work[why[1]].task.key
            found.append(Clash(one.task.key, visit, why[0], key, why[2], to_date(possible)))
        return found

    def _why_not(self, place: int, day: int, last: int) -> Cause | None:
        """Return what keeps a booking from its day: what the work waits for, else its space, else None."""
        one = self.work[place]
        waits = self._waits(place)
        ready = max((wait[3] for wait in waits), default=0)
        if last < one.today:
            return (Held.TODAY, None, None, one.today)
        if waits and ready > max(day, one.today):
            return self._too_late(next(wait for wait in waits if wait[3] == ready), day)
        wanted = one.span(ready, self.working)
        space = self.spaces.get(one.task.space or "")
        found = space.in_the_way(wanted, place) if space else None
        if space is None or found is None:
            return None
        other = space.works[found]
        kept = self.work[other].kept(self.spans[other])
        return (Held.BOOKED if kept else Held.SPACE, other, None, space.frees[found])

    def _too_late(self, wait: Cause, day: int) -> Cause:
        """Tell work that is over too late for a day from work that only cures for too long."""
        kind, before, words, _free = wait
        if kind is not Held.CURE or before is None:
            return wait
        end = self.spans[before].free - self.work[before].task.cure_days
        return (Held.AFTER, before, words, end) if end > day else wait

    def _cause(self, place: int) -> Cause:
        """Return what binds a work that is not held by its booking."""
        one, span = self.work[place], self.spans[place]
        waits = self._waits(place)
        ready = max((wait[3] for wait in waits), default=0)
        if one.task.space and span.first > one.span(ready, self.working).first:
            blocker = self._blocker(place)
            if blocker is not None:
                return blocker
        return self._binding(place, span.first)

    def _blocker(self, place: int) -> Cause | None:
        """Return the work that held the space last before this one came to it."""
        one, span = self.work[place], self.spans[place]
        space = self.spaces[one.task.space or ""]
        last = bisect_right(space.frees, span.first) - 1
        return None if last < 0 else (Held.SPACE, space.works[last], None, space.frees[last])

    def _waits(self, place: int) -> list[Cause]:
        """Return all that a work waits for with the day from which it is free of it, best known first."""
        one, task = self.work[place], self.work[place].task
        waits: list[Cause] = []
        if task.parts_on:
            waits.append((Held.PARTS, None, task.parts_words or None, task.parts_on.toordinal()))
        for before in one.before:
            kind = Held.CURE if self.work[before].task.cure_days else Held.AFTER
            waits.append((kind, before, None, self.spans[before].free))
        if task.not_before:
            waits.append((Held.NOT_BEFORE, None, None, task.not_before.toordinal()))
        return waits

    def _binding(self, place: int, first: int) -> Cause:
        """Return which of its waits binds a work that starts on `first`: the latest, unless time away covers it."""
        one = self.work[place]
        waits = self._waits(place)
        ready = max((wait[3] for wait in waits), default=0)
        if ready < one.today or not waits:
            chosen: Cause = (Held.TODAY, None, None, one.today)
        else:
            chosen = next(wait for wait in waits if wait[3] == ready)
        if chosen[0] is Held.CURE:
            chosen = self._cure_or_end(chosen, first)
        if chosen[0] is Held.AFTER or not self._away_between(chosen[3], first):
            return chosen
        for before in one.before:  # the days away cover the wait; does work before them bind?
            end = self.spans[before].free - self.work[before].task.cure_days
            if end >= one.today and self.working.on_or_after(end) == first:
                return (Held.AFTER, before, None, end)
        return (Held.AWAY, None, None, first)

    def _cure_or_end(self, chosen: Cause, first: int) -> Cause:
        """Tell a cure that binds from one over by the first working day after the work before it."""
        before = chosen[1]
        assert before is not None
        end = chosen[3] - self.work[before].task.cure_days
        if self.working.on_or_after(max(end, self.work[before].today)) >= first:
            return (Held.AFTER, before, None, end)
        return chosen

    def _away_between(self, day: int, first: int) -> bool:
        """Say whether a day that would be worked, but for time away, lies from `day` on before `first`."""
        weekdays = self.working.weekday_index(first) - self.working.weekday_index(day)
        return weekdays > self.working.index(first) - self.working.index(day)

    def _as_hold(self, cause: Cause) -> Hold:
        kind, other, words, day = cause
        return Hold(kind, None if other is None else self.work[other].task.key, words, to_date(day))


def _day(visit: Booked) -> date:
    return visit.day


def _counts(visit: Booked, span: Span) -> bool:
    return visit.day.toordinal() in span.booked
