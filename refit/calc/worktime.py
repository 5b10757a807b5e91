"""Days of work and hours as people type them: `3`, `0.5`, `2 h`, `4 hours`; `2`, `1.5`, `1:30`, `90 min`.

Decides what a day and an hour are: a day of work has eight hours, hours are kept in whole minutes. Reads no clock.
"""

import re
from decimal import ROUND_HALF_UP, Decimal

from .numbers import format_quantity, parse_number
from .problems import Problem, shown

HOURS_A_DAY = 8
MOST_DAYS = Decimal(1000)
MOST_MINUTES = 24 * 60
THOUSANDTH = Decimal("0.001")
TYPED = re.compile(r"(?P<number>[^a-z:]+?)\s*(?P<unit>[a-z]*)\.?", re.IGNORECASE)
CLOCK = re.compile(r"(?P<hours>[0-9]{1,4}):(?P<minutes>[0-9]{2})")
HOURS = ("h", "hr", "hrs", "hour", "hours")
MINUTES = ("m", "min", "mins", "minute", "minutes")
DAYS = ("d", "day", "days")


class TimeProblem(Problem):
    """A time of work that was refused; `code` is "not_a_time", "too_long" or one of a number's."""


def parse_days(text: str) -> Decimal:
    """Return days of work, to the thousandth: `3`, `0,5`, `2 days`, `2 h` (a quarter), `1:30` of an hour, `90 min`.

    From 0 to 1000; raise Problem for anything else.
    """
    clock = CLOCK.fullmatch(text.strip())
    if clock:
        days = Decimal(_clocked(text, clock)) / (60 * HOURS_A_DAY)
    else:
        number, unit = _split(text, "write it like 3, 0.5 or 4 hours")
        if unit and unit not in (*DAYS, *HOURS, *MINUTES):
            raise TimeProblem(
                f"{shown(text)} is no time of work; write it like 3, 0.5 or 4 hours.", "not_a_time"
            )
        a_day = HOURS_A_DAY if unit in HOURS else 60 * HOURS_A_DAY if unit in MINUTES else 1
        days = number / a_day
    if days > MOST_DAYS:
        raise TimeProblem(f"{shown(text)} is more than {MOST_DAYS} days; split the job.", "too_long")
    return days.quantize(THOUSANDTH, ROUND_HALF_UP)


def parse_minutes(text: str) -> int:
    """Return hours of one day in whole minutes: `2`, `1.5`, `1,25 h`, `1:30`, `90 min`.

    From 0 to 24 hours; raise Problem for anything else.
    """
    clock = CLOCK.fullmatch(text.strip())
    if clock:
        minutes = Decimal(_clocked(text, clock))
    else:
        number, unit = _split(text, "write it like 2, 1.5, 1:30 or 90 min")
        if unit and unit not in (*HOURS, *MINUTES):
            raise TimeProblem(
                f"{shown(text)} is no time; write it like 2, 1.5, 1:30 or 90 min.", "not_a_time"
            )
        minutes = number if unit in MINUTES else number * 60
    if minutes > MOST_MINUTES:
        raise TimeProblem(f"{shown(text)} is more than a day has.", "too_long")
    return int(minutes.quantize(Decimal(1), ROUND_HALF_UP))


def hours_and_minutes(minutes: int) -> str:
    """Return minutes as they are said: `1:30`, `0:05`."""
    return f"{minutes // 60}:{minutes % 60:02d}"


def days_in_words(days: Decimal) -> str:
    """Return days of work as they are said: `3 days`, `1 day`, `2 hours`; less than a day in hours."""
    if 0 < days < 1:
        hours = (days * HOURS_A_DAY).quantize(Decimal("0.01"), ROUND_HALF_UP)
        return f"{format_quantity(hours)} hour{'' if hours == 1 else 's'}"
    return f"{format_quantity(days)} day{'' if days == 1 else 's'}"


def _split(text: str, hint: str) -> tuple[Decimal, str]:
    found = TYPED.fullmatch(text.strip())
    if found is None:
        raise TimeProblem(f"{shown(text)} is no time; {hint}.", "not_a_time")
    return parse_number(found["number"], places=2, low=Decimal(0)), found["unit"].casefold()


def _clocked(text: str, clock: re.Match[str]) -> int:
    hours, minutes = int(clock["hours"]), int(clock["minutes"])
    if minutes > 59:
        raise TimeProblem(f"{shown(text)} has more minutes than an hour.", "not_a_time")
    return hours * 60 + minutes


def worth(minutes: int, hour_rate: int) -> int:
    """Return what minutes of work are worth at a rate an hour, both in minor units, half up."""
    return (2 * minutes * hour_rate + 60) // 120
