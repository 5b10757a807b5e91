"""Numbers and days as people type them, and quantities as people read them.

Decides which ways of writing a number are taken (comma or point, blanks or marks between thousands) and that
a day comes before its month; refuses what can be read in two ways. Does not know what the value is for.
"""

import re
from datetime import date, timedelta
from decimal import Decimal

from .problems import Problem, shown

MOST_DIGITS = 15
BLANK = "[ \u00a0\u2009\u202f]"
SIGNED = re.compile(rf"([+\-\u2212]?){BLANK}*(.*)", re.DOTALL)
PLAIN = re.compile(r"([0-9]*)(?:[.,]([0-9]*))?")
BLANKS_BETWEEN = re.compile(rf"([0-9]{{1,3}}(?:{BLANK}[0-9]{{3}})+)(?:[.,]([0-9]*))?")
COMMAS_BETWEEN = re.compile(r"([0-9]{1,3}(?:,[0-9]{3})+)(?:\.([0-9]*))?")
POINTS_BETWEEN = re.compile(r"([0-9]{1,3}(?:\.[0-9]{3})+)(?:,([0-9]*))?")
BETWEEN = (BLANKS_BETWEEN, COMMAS_BETWEEN, POINTS_BETWEEN)
ONE_COMMA = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")

MONTH_NAMES = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]
FIRST_YEAR, LAST_YEAR = 1950, 2100
YEAR_FIRST = re.compile(r"(?P<year>[0-9]{4,6})-(?P<month>[0-9]{1,2})-(?P<day>[0-9]{1,2})")
# Behind hyphens a year needs four figures: 26-03-09 is as likely the year first.
DAY_FIRST = re.compile(
    r"(?P<day>[0-9]{1,2})(?:"
    r"([./]) ?(?P<month>[0-9]{1,2})\2 ?(?P<year>[0-9]{2}|[0-9]{4,6})"
    r"|-(?P<month2>[0-9]{1,2})-(?P<year2>[0-9]{4,6}))"
)
WITH_NAME = re.compile(
    r"(?P<day>[0-9]{1,2})(?:st|nd|rd|th|\.)?[ -]?(?P<name>[a-z]{3,9})\.?"
    r"(?:,?[ -](?P<year>[0-9]{2}|[0-9]{4,6}))?"
)


class NumberProblem(Problem):
    """A number that was refused.

    `code` is "empty", "not_a_number", "too_many_places", "too_small", "too_large" or "ambiguous".
    """


class DayProblem(Problem):
    """A day that was refused; `code` is "empty", "not_a_day", "no_such_day" or "out_of_range"."""


def parse_number(
    text: str, *, places: int = 3, low: Decimal | None = None, high: Decimal | None = None
) -> Decimal:
    """Return the number a person typed, with at most `places` decimals, from `low` to `high`.

    Takes 1,5 and 1.5, 1 234,50, 1,234.50 and 1.234,50: of two kinds of marks the last is the decimal one.
    "1,234" could be either where three decimals are allowed, so it is refused there; with fewer it can only
    be 1234.
    """
    sign, body = _signed(text)
    whole, decimals = _split(text, body, places)
    if len(whole.lstrip("0")) + len(decimals) > MOST_DIGITS:
        raise NumberProblem(
            f"{shown(text)} is too long; a number has at most {MOST_DIGITS} digits.", "too_large"
        )
    if len(decimals) > places:
        raise NumberProblem(f"{shown(text)} has too many decimals; {_allowed(places)}.", "too_many_places")
    number = Decimal(f"{whole or '0'}.{decimals}" if decimals else whole)
    if sign in ("-", "\u2212") and number:
        number = -number
    if low is not None and number < low:
        least = format_quantity(low)
        raise NumberProblem(f"{shown(text)} is too small; it must be {least} or more.", "too_small")
    if high is not None and number > high:
        most = format_quantity(high)
        raise NumberProblem(f"{shown(text)} is too large; it must be {most} or less.", "too_large")
    return number


def parse_day(text: str, today: date) -> date:
    """Return the day a person typed.

    Takes 2026-03-09, 9.3.2026 and 9/3/2026 (the day first), 9 Mar 2026, 9 March (of this year), today and
    yesterday. A year of two figures is 20xx; years outside 1950 to 2100 are slips and refused.
    """
    typed = " ".join(text.split()).casefold()
    if not typed:
        raise DayProblem("There is nothing here; type a day such as 9 Mar 2026.", "empty")
    if typed == "today":
        return today
    if typed == "yesterday":
        return today - timedelta(days=1)
    for form in (YEAR_FIRST, DAY_FIRST, WITH_NAME):
        found = form.fullmatch(typed)
        if found:
            return _day(text, found.groupdict(), today)
    raise DayProblem(f"{shown(text)} is not a day; write it like 2026-03-09 or 9 Mar 2026.", "not_a_day")


def format_quantity(q: Decimal) -> str:
    """Return a quantity without needless noughts and never with an exponent: 4.3, 100."""
    if not q.is_finite():
        raise ValueError(f"{q} is not a quantity.")
    text = f"{q:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _signed(text: str) -> tuple[str, str]:
    found = SIGNED.fullmatch(text.strip())
    if found is None or not text.strip():
        raise NumberProblem("There is nothing here; type a number.", "empty")
    return found[1], found[2]


def _split(text: str, body: str, places: int) -> tuple[str, str]:
    """Return the digits before and after the decimal mark."""
    comma_is_ours = ONE_COMMA.fullmatch(body)
    if comma_is_ours and places >= 3:
        plain, point = body.replace(",", ""), body.replace(",", ".")
        raise NumberProblem(f"{shown(text)} can be read in two ways; type {plain} or {point}.", "ambiguous")
    # A single point is always the decimal mark: a price of 1.234 is a slip, not a thousand.
    forms = (COMMAS_BETWEEN,) if comma_is_ours else (PLAIN, *BETWEEN)
    for form in forms:
        found = form.fullmatch(body)
        if found and any(digit.isdecimal() for digit in body):
            return re.sub(r"[^0-9]", "", found[1]), found[2] or ""
    raise NumberProblem(f"{shown(text)} is not a number; write it like 12.5 or 12,5.", "not_a_number")


def _allowed(places: int) -> str:
    return "it must be a whole number" if places == 0 else f"at most {places} can be kept"


def _day(text: str, pieces: dict[str, str | None], today: date) -> date:
    month = pieces.get("month") or pieces.get("month2")
    number = _month_number(pieces["name"] or "") if "name" in pieces else int(month or 0)
    if number is None:
        raise DayProblem(f"{shown(text)} has no month; write it like 9 Mar 2026.", "not_a_day")
    written = pieces.get("year") or pieces.get("year2")
    year = today.year if written is None else int(written) + (2000 if len(written) == 2 else 0)
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise DayProblem(
            f"{shown(text)} has a year that cannot be right; it must lie from {FIRST_YEAR} to {LAST_YEAR}.",
            "out_of_range",
        )
    try:
        return date(year, number, int(pieces["day"] or 0))
    except ValueError:
        hint = "the day comes first, then the month" if number > 12 else "that month has no such day"
        raise DayProblem(f"{shown(text)} is not in the calendar; {hint}.", "no_such_day") from None


def _month_number(name: str) -> int | None:
    for number, month in enumerate(MONTH_NAMES, start=1):
        if month.startswith(name):
            return number
    return None
