"""Numbers, money and days as they stand in old spreadsheets.

Decides what a column's own style is: which mark is the decimal one, and whether the day or the month comes first. What
could still be read in two ways is refused, never guessed in silence. Does not know what the values are for.
"""

import re
from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal

from refit.calc.dates import month_mark
from refit.calc.numbers import DayProblem, NumberProblem, parse_day
from refit.calc.problems import shown
from refit.calc.text import fold
from refit.carry.sheets.book import Value

EMPTY = {
    fold(word)
    for word in ("n/a", "na", "#n/a", "nil", "none", "null", "-", "--", "–", "—", "?", "??", "tbc", "tba", "…", ".", "n.a.")
}  # fmt: skip
SIGNS = {"£": "GBP", "€": "EUR", "US$": "USD", "¥": "JPY"}
MONEY = re.compile(
    r"(?P<open>\()?\s*(?P<minus>[-−–])?\s*(?P<before>[A-Za-z]{3}\b|US\$|[£€$¥]|kr\.?)?\s*(?P<minus2>[-−–])?\s*"
    r"(?P<figure>[0-9.,'’][0-9.,'’\u00a0\u2009\u202f ]*)"
    r"(?P<dash>[,.]?[-–]{1,2})?\s*(?P<after>[A-Za-z]{3}\b|[£€$¥]|kr\.?)?\s*(?P<close>\))?"
)
GROUPS = re.compile(r"[0-9]{1,3}(?:[.,' ][0-9]{3})+")
NAMED_FIRST = re.compile(r"([A-Za-z]{3,9})\.? ([0-9]{1,2})(?:st|nd|rd|th)?,? ([0-9]{4})")
SLASHED = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{2}|[0-9]{4})")
TIME = re.compile(r"[T ][0-9]{1,2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?( ?[AaPp][Mm])?Z?$")
WEEKDAY = re.compile(r"^(mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,? ", re.IGNORECASE)
YEAR_FIRST = re.compile(r"([0-9]{4})[/.]([0-9]{1,2})[/.]([0-9]{1,2})")
EIGHT = re.compile(r"(19|20)[0-9]{6}")
EPOCH, EPOCH_1904 = date(1899, 12, 30), date(1904, 1, 1)
ERRORS = ("#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!")


def is_empty(value: Value) -> bool:
    """Return whether a cell says that there is nothing: blank, n/a, a dash."""
    return value is None or (isinstance(value, str) and (not value.strip() or fold(value) in EMPTY | {""}))


def money_sign(value: Value) -> str:
    """Return the currency that a cell names, as a code; empty if it names none, or one that several share."""
    if not isinstance(value, str):
        return ""
    found = MONEY.fullmatch(value.strip())
    mark = (found["before"] or found["after"] or "") if found else ""
    if mark in SIGNS:
        return SIGNS[mark]
    return mark.upper() if len(mark) == 3 and mark.isalpha() else ""


def decimal_mark(values: Iterable[Value]) -> str:
    """Return the decimal mark that a column shows: "," or "."; empty where no cell tells."""
    votes = {",": 0, ".": 0}
    for value in values:
        found = MONEY.fullmatch(value.strip()) if isinstance(value, str) else None
        if found:
            mark = _mark(_bare(found["figure"]))
            if mark in votes:
                votes[mark] += 1
    if votes[","] == votes["."]:
        return ""
    return "," if votes[","] > votes["."] else "."


def number(value: Value, mark: str = "") -> Decimal:
    """Return the number in a cell: "1.234,50 €", "(45.00)" and "45.00-" are taken. Raise NumberProblem."""
    if isinstance(value, Decimal):
        return value
    text = "" if value is None else str(value)
    if text.upper() in ERRORS:
        raise NumberProblem(f"{shown(text)} is a formula's error, not a number.", "error")
    found = MONEY.fullmatch(text.strip())
    if found is None or bool(found["open"]) != bool(found["close"]) or isinstance(value, date):
        raise NumberProblem(f"{shown(text)} is not a number.", "not_a_number")
    figure = _bare(found["figure"])
    own = _mark(figure)
    if own == "?":
        if not mark:
            raise NumberProblem(
                f"{shown(text)} can be read in two ways; write it without a mark between thousands.",
                "ambiguous",
            )
        own = mark
    whole, decimals = figure.rsplit(own, 1) if own and own in figure else (figure, "")
    if re.search(r"[.,' ]", whole) and not GROUPS.fullmatch(whole):
        raise NumberProblem(f"{shown(text)} is not a number.", "not_a_number")
    digits = re.sub(r"[^0-9]", "", whole)
    if not digits and not decimals:
        raise NumberProblem(f"{shown(text)} is not a number.", "not_a_number")
    if len(digits) + len(decimals) > 15:
        raise NumberProblem(f"{shown(text)} is too long; a number has at most 15 digits.", "too_large")
    exact = Decimal(f"{digits or 0}.{decimals}" if decimals else digits)
    # "45,-" is money without small change; "45.00-" is minus, as book-keeping programs print it.
    without_change = found["figure"].strip().endswith((",", "."))
    trailing = found["dash"] in ("-", "–") and not without_change
    minus = bool(found["minus"] or found["minus2"] or found["open"] or trailing)
    return -exact if minus and exact else exact


def _bare(figure: str) -> str:
    return (
        re.sub("[\u00a0\u2009\u202f ]", " ", figure)
        .strip()
        .replace("’", "'")
        .removesuffix(",")
        .removesuffix(".")
    )


def _mark(figure: str) -> str:
    """Return the decimal mark of one number, "" if it has none, "?" where it may be one between thousands."""
    commas, points = figure.count(","), figure.count(".")
    if commas and points:
        return "," if figure.rfind(",") > figure.rfind(".") else "."
    if commas + points != 1:
        return ""
    mark = "," if commas else "."
    before, after = figure.split(mark)
    if len(after) == 3 and re.fullmatch(r"[1-9][0-9]{0,2}", before):
        return "?"
    return mark


def month_first(values: Iterable[Value]) -> bool | None:
    """Return whether a column sets the month before the day; None where no day tells."""
    first, second = False, False
    for value in values:
        found = SLASHED.fullmatch(TIME.sub("", value.strip())) if isinstance(value, str) else None
        if found:
            first = first or int(found[1]) > 12
            second = second or int(found[3]) > 12
    if first or second:
        return second and not first
    return None


def day(value: Value, *, american: bool = False, count_from_1904: bool = False) -> date:
    """Return the day in a cell: a day, a count of days, or words. Raise DayProblem."""
    if isinstance(value, date):
        return _checked(value)
    if isinstance(value, Decimal):
        if 19000101 <= value <= 21001231 and value == value.to_integral_value():
            return day(str(int(value)))
        if 10_000 <= value <= 80_000:
            return _checked((EPOCH_1904 if count_from_1904 else EPOCH) + timedelta(days=int(value)))
        raise DayProblem(f"{shown(f'{value:f}')} is not a day.", "not_a_day")
    text = WEEKDAY.sub("", TIME.sub("", (value or "").strip()))
    found = SLASHED.fullmatch(text)
    if found:
        one, other = (found[3], found[1]) if american else (found[1], found[3])
        text = f"{one}.{other}.{found[4]}"
    elif YEAR_FIRST.fullmatch(text):
        text = re.sub("[/.]", "-", text)
    elif EIGHT.fullmatch(text):
        text = f"{text[:4]}-{text[4:6]}-{text[6:]}"
    elif named := NAMED_FIRST.fullmatch(text):
        text = f"{named[2]} {named[1]} {named[3]}"
    if not re.search(r"[0-9]{4}|[./-][0-9]{2}$|[A-Za-z] ?-?[0-9]{2}$", text):
        raise DayProblem(f"{shown(str(value))} is not a day; write it like 2026-03-09.", "not_a_day")
    return parse_day(text, date(2000, 1, 1))


def expiry(value: Value, *, american: bool = False, count_from_1904: bool = False) -> date:
    """Return the day on which a thing runs out; a month alone means its last day."""
    if isinstance(value, str):
        try:
            return month_mark(value)
        except ValueError:
            pass
    return day(value, american=american, count_from_1904=count_from_1904)


def _checked(found: date) -> date:
    if not 1950 <= found.year <= 2100:
        raise DayProblem(f"{found.isoformat()} has a year that cannot be right.", "out_of_range")
    return found
