"""By which day to order, when what is ordered today comes, and what this boat's own deliveries teach.

Decides how days are counted: calendar days, or the days on which a supplier works (weekdays less holidays), counted as
business days are elsewhere: a day that is not worked counts as the working day before it when something must be here by
then, and as the working day after it when something starts then. A lead time that nobody knows is None, never nought.
Knows no suppliers and no clock.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property

from .problems import Problem

MONDAY_TO_FRIDAY = frozenset(range(5))
LONGEST = 3650  # days; what says more than ten years is a slip of the finger
CONSIDERED = 2  # the latest deliveries, which weigh as much as all of them


class LeadProblem(Problem):
    """Days that were refused; `code` is "negative", "too_long", "no_weekdays" or "out_of_calendar"."""


@dataclass(frozen=True)
class Terms:
    """How long a part takes to come.

    `lead_days` from order to here, None where nobody knows; `margin_days` for safety before it is wanted. Both are
    calendar days, or with `working` days on `weekdays` (0 is Monday) that are not in `off`.
    """

    lead_days: int | None
    margin_days: int = 0
    working: bool = False
    off: frozenset[date] = frozenset()
    weekdays: frozenset[int] = MONDAY_TO_FRIDAY

    def __post_init__(self) -> None:
        """Refuse days that cannot be counted."""
        if (self.lead_days or 0) < 0 or self.margin_days < 0:
            raise LeadProblem("Days of lead time and of margin cannot be fewer than nought.", "negative")

    @cached_property
    def calendar(self) -> "WorkingDays":
        """The days on which this supplier works."""
        return WorkingDays(self.weekdays, self.off)


UNKNOWN = Terms(None)


@dataclass(frozen=True)
class WorkingDays:
    """Days that are worked: on `weekdays` (0 is Monday, 6 Sunday) and not in `off`."""

    weekdays: frozenset[int] = MONDAY_TO_FRIDAY
    off: frozenset[date] = frozenset()
    # Ordinals of the holidays that fall on a weekday, in order; derived, so no part of what makes two alike.
    closed: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse a week without a working day, which would never end."""
        if not self.weekdays or not self.weekdays <= set(range(7)):
            raise LeadProblem("A supplier works on one day of the week at least.", "no_weekdays")
        closed = sorted(day.toordinal() for day in self.off if day.weekday() in self.weekdays)
        object.__setattr__(self, "closed", tuple(closed))

    def before(self, day: date, days: int) -> date:
        """Return the working day so many working days before a day, which counts as the last worked until then."""
        # The last day d on or before `day` with at least days + 1 working days from d to `day`.
        latest = day.toordinal()
        earliest = latest
        while self._worked(earliest, latest) < days + 1:
            short = days + 1 - self._worked(earliest, latest)
            # A week holds len(weekdays) of them; what holidays take is made up in the next round.
            earliest -= max(1, short // len(self.weekdays) * 7)
        return _day(self._last_start(earliest, latest, days + 1), day, days)

    def after(self, day: date, days: int) -> date:
        """Return the working day so many working days after a day, which counts as the first worked from then."""
        first = day.toordinal()
        last = first
        while self._worked(first, last) < days + 1:
            short = days + 1 - self._worked(first, last)
            last += max(1, short // len(self.weekdays) * 7)
        while self._worked(first, last - 1) >= days + 1:
            last -= 1
        return _day(last, day, days)

    def _last_start(self, earliest: int, latest: int, wanted: int) -> int:
        while self._worked(earliest + 1, latest) >= wanted:
            earliest += 1
        return earliest

    def _worked(self, first: int, last: int) -> int:
        """Count the working days from one ordinal to another, both counted."""
        if last < first:
            return 0
        weeks, rest = divmod(last - first + 1, 7)
        start = (first + 6) % 7  # ordinal 1 was a Monday
        some = sum((start + step) % 7 in self.weekdays for step in range(rest))
        closed = bisect_right(self.closed, last) - bisect_left(self.closed, first)
        return weeks * len(self.weekdays) + some - closed


def order_by(wanted_by: date, terms: Terms) -> date | None:
    """Return the last day to order on, so that it is here by a day with the margin to spare; None where nobody knows.

    Raise LeadProblem where that would be before the calendar begins.
    """
    if terms.lead_days is None:
        return None
    days = terms.lead_days + terms.margin_days
    if terms.working:
        return terms.calendar.before(wanted_by, days)
    return _day(wanted_by.toordinal() - days, wanted_by, days)


def arrives(ordered_on: date, terms: Terms) -> date | None:
    """Return the day on which what is ordered on a day is here, without the margin; None where nobody knows.

    Raise LeadProblem where that would be after the calendar ends.
    """
    if terms.lead_days is None:
        return None
    if terms.working:
        return terms.calendar.after(ordered_on, terms.lead_days)
    return _day(ordered_on.toordinal() + terms.lead_days, ordered_on, terms.lead_days)


def checked_days(days: int) -> int:
    """Return days of lead time as typed; LeadProblem for fewer than nought or more than ten years."""
    if days < 0:
        raise LeadProblem(
            f"A lead time of {days} days cannot be right; nought is ordered and here.", "negative"
        )
    if days > LONGEST:
        raise LeadProblem(
            f"A lead time of {days} days cannot be right; it is at most {LONGEST} (ten years).", "too_long"
        )
    return days


@dataclass(frozen=True)
class Learned:
    """What deliveries teach, in days: the last two (the latest last), the median of all, and what to count on."""

    last: tuple[int, ...]
    median: Decimal
    used: int


def learned(days: Sequence[int]) -> Learned | None:
    """Return what the lead times of past deliveries teach, the latest last; None where there is nothing to go by.

    What to count on is the larger of the median of all and the mean of the last two, rounded up: one lucky parcel does
    not promise speed, and a supplier that has become slow is believed at once. A delivery before its order (a slip)
    teaches nothing; more than ten years count as ten.
    """
    sane = [min(each, LONGEST) for each in days if each >= 0]
    if not sane:
        return None
    last = sane[-CONSIDERED:]
    ordered, middle = sorted(sane), len(sane) // 2
    twice_median = 2 * ordered[middle] if len(sane) % 2 else ordered[middle - 1] + ordered[middle]
    twice_mean = 2 * sum(last) // len(last)  # of one or two whole numbers it is whole
    used = -(-max(twice_median, twice_mean) // 2)
    return Learned(tuple(last), Decimal(twice_median) / 2, used)


def _day(ordinal: int, start: date, days: int) -> date:
    if not date.min.toordinal() <= ordinal <= date.max.toordinal():
        raise LeadProblem(
            f"{days} days from {start:%Y-%m-%d} lie outside the calendar; check the lead time.",
            "out_of_calendar",
        )
    return date.fromordinal(ordinal)
