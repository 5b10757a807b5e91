"""Days and months: ends of months, adding months, and whether a marked day has passed.

Decides that what bears a day is good through that day itself, and that a mark with only a month means its
last day. Takes today as an argument.
"""

import re
from calendar import monthrange
from datetime import date

from .problems import shown

MONTH_FIRST = re.compile(r"([0-9]{1,2})[/.\- ]([0-9]{4}|[0-9]{2})")
YEAR_FIRST = re.compile(r"([0-9]{4})[/.\-]([0-9]{1,2})")
FIRST_YEAR, LAST_YEAR = 1950, 2100


def last_day_of_month(day: date) -> date:
    """Return the last day of the month that a day lies in."""
    return day.replace(day=monthrange(day.year, day.month)[1])


def add_months(day: date, months: int) -> date:
    """Return the same day so many months on, or the last of that month where it is too short."""
    years, month = divmod(day.month - 1 + months, 12)
    first = date(day.year + years, month + 1, 1)
    return first.replace(day=min(day.day, monthrange(first.year, first.month)[1]))


def expired(expires: date, on: date) -> bool:
    """Say whether a thing is out of date; it is still good on the marked day itself."""
    return on > expires


def month_mark(text: str) -> date:
    """Return the last day of a month as marked on a thing: 03/26, 3-2026, 2026-03.

    Two figures are a year 20xx. Raise ValueError for what is no month, or a year outside 1950 to 2100.
    """
    typed = text.strip()
    month_first, year_first = MONTH_FIRST.fullmatch(typed), YEAR_FIRST.fullmatch(typed)
    if month_first:
        month, year = int(month_first[1]), int(month_first[2])
        year += 2000 if len(month_first[2]) == 2 else 0
    elif year_first:
        year, month = int(year_first[1]), int(year_first[2])
    else:
        raise ValueError(f"{shown(text)} is not a month; write it like 03/26.")
    if not 1 <= month <= 12:
        raise ValueError(f"{shown(text)} is not a month; the month comes first, from 1 to 12.")
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(f"{shown(text)} has a year that cannot be right; write it like 03/26.")
    return last_day_of_month(date(year, month, 1))
