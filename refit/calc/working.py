"""The owner's working days: the weekdays that are worked, less the days away.

Decides which day is worked, how many lie between two days, and which is the n-th; all by arithmetic, so that 10,000
days cost no more than one. Inside, a day is its ordinal (1 is Monday, 1 January of the year 1) and a working day its
number, counted from that day on.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date
from itertools import accumulate

from .problems import Problem

FIRST, LAST = date.min.toordinal(), date.max.toordinal()
Away = date | tuple[date, date]


@dataclass(frozen=True)
class WorkingDays:
    """Weekdays worked (Monday is 0), less days away: single days or (first, last), both included.

    Raise Problem where no weekday is worked, as no work would ever be done.
    """

    weekdays: frozenset[int]
    away: Collection[Away] = frozenset()
    _worked: tuple[int, ...] = field(init=False, repr=False, compare=False)
    _before: tuple[int, ...] = field(init=False, repr=False, compare=False)
    _first: tuple[int, ...] = field(init=False, repr=False, compare=False)
    _lost: tuple[int, ...] = field(init=False, repr=False, compare=False)
    _taken: tuple[int, ...] = field(init=False, repr=False, compare=False)
    _number: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.weekdays:
            raise Problem("No day of the week is worked; tick at least one.", "no-working-day")
        if not self.weekdays <= set(range(7)):
            raise Problem("A weekday is a number from 0 (Monday) to 6 (Sunday).", "weekday")
        keep = object.__setattr__
        worked = tuple(sorted(self.weekdays))
        keep(self, "_worked", worked)
        keep(self, "_before", tuple(sum(day < rest for day in worked) for rest in range(7)))
        ranges = _merged(self.away)
        first = tuple(start for start, _end in ranges)
        lost = tuple(self.weekday_index(end + 1) - self.weekday_index(start) for start, end in ranges)
        taken = tuple(accumulate(lost, initial=0))
        keep(self, "_first", first)
        keep(self, "_lost", lost)
        keep(self, "_taken", taken)
        keep(
            self,
            "_number",
            tuple(self.weekday_index(start) - gone for start, gone in zip(first, taken, strict=False)),
        )

    def works(self, day: date) -> bool:
        """Say whether a day is worked."""
        return self.next(day) == day

    def next(self, day: date) -> date:
        """Return the first working day on or after a day."""
        return to_date(self.on_or_after(day.toordinal()))

    def previous(self, day: date) -> date:
        """Return the last working day on or before a day."""
        return to_date(self.on_or_before(day.toordinal()))

    def add(self, day: date, days: int) -> date:
        """Return the working day so many working days after the first one on or after `day`; before it, if negative."""
        return to_date(self.at(self.index(day.toordinal()) + days))

    def count(self, first: date, until: date) -> int:
        """Return how many working days lie from `first` on and before `until`; negative where `until` is earlier."""
        return self.index(until.toordinal()) - self.index(first.toordinal())

    def on_or_after(self, ordinal: int) -> int:
        """Return the first working day on or after a day, both as ordinals."""
        return self.at(self.index(ordinal))

    def on_or_before(self, ordinal: int) -> int:
        """Return the last working day on or before a day, both as ordinals."""
        return self.at(self.index(ordinal + 1) - 1)

    def weekday_index(self, ordinal: int) -> int:
        """Return how many worked weekdays lie before an ordinal, days away among them."""
        weeks, rest = divmod(ordinal - 1, 7)
        return weeks * len(self._worked) + self._before[rest]

    def index(self, ordinal: int) -> int:
        """Return how many working days lie before an ordinal: the number of the first one on or after it."""
        number = self.weekday_index(ordinal)
        place = bisect_right(self._first, ordinal) - 1
        if place < 0:
            return number
        # Inside a time away, only so much of it is gone as lies before the day.
        gone = min(number - self._number[place] - self._taken[place], self._lost[place])
        return number - self._taken[place] - gone

    def at(self, number: int) -> int:
        """Return the ordinal of the working day of a number."""
        passed = bisect_right(self._number, number)
        weeks, rest = divmod(number + self._taken[passed], len(self._worked))
        return weeks * 7 + self._worked[rest] + 1


def to_date(ordinal: int) -> date:
    """Return the day of an ordinal; raise Problem for a day that no calendar has."""
    if not FIRST <= ordinal <= LAST:
        raise Problem("That is so many days away that no calendar reaches there.", "too-far")
    return date.fromordinal(ordinal)


def _merged(away: Iterable[Away]) -> list[tuple[int, int]]:
    """Return times away as ordinals (first, last), sorted, none touching another."""
    spans = sorted((day[0], day[1]) if isinstance(day, tuple) else (day, day) for day in away)
    merged: list[tuple[int, int]] = []
    for first, last in spans:
        if last < first:
            raise Problem(f"Days away from {first} end before they begin, on {last}.", "away")
        if merged and first.toordinal() <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(merged[-1][1], last.toordinal()))
        else:
            merged.append((first.toordinal(), last.toordinal()))
    return merged
