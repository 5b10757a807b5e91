"""By which day to order, when what is ordered today comes, and what this boat's own deliveries teach.

Decides how days are counted: calendar days, or the days on which a supplier works (weekdays less holidays), counted as
business days are elsewhere: a day that is not worked counts as the working day before it when something must be here by
then, and as the working day after it when something starts then. A lead time that nobody knows is None, never nought.
Knows no suppliers and no clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property

from .problems import Problem
from .working import WorkingDays

MONDAY_TO_FRIDAY = frozenset(range(5))
LONGEST = 3650  # days; what says more than ten years is a slip of the finger
CONSIDERED = 2  # the latest deliveries, which weigh as much as all of them


class LeadProblem(Problem):
    """Days that were refused; `code` is "negative", "too_long" or "out_of_calendar"."""


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
    def calendar(self) -> WorkingDays:
        """The days on which this supplier works."""
        return WorkingDays(self.weekdays, frozenset(self.off))


UNKNOWN = Terms(None)


def order_by(wanted_by: date, terms: Terms) -> date | None:
    """Return the last day to order on, so that it is here by a day with the margin to spare; None where nobody knows.

    Raise LeadProblem where that would be before the calendar begins.
    """
    if terms.lead_days is None:
        return None
    days = terms.lead_days + terms.margin_days
    if terms.working:
        calendar = terms.calendar
        last = calendar.index(calendar.on_or_before(wanted_by.toordinal()))
        return _day(calendar.at(last - days), wanted_by, days)
    return _day(wanted_by.toordinal() - days, wanted_by, days)


def arrives(ordered_on: date, terms: Terms) -> date | None:
    """Return the day on which what is ordered on a day is here, without the margin; None where nobody knows.

    Raise LeadProblem where that would be after the calendar ends.
    """
    if terms.lead_days is None:
        return None
    if terms.working:
        calendar = terms.calendar
        return _day(
            calendar.at(calendar.index(ordered_on.toordinal()) + terms.lead_days), ordered_on, terms.lead_days
        )
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
