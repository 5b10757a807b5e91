"""Guessing: which row holds the headings, what a sheet is about, and which column is what.

By the headings first (accents, case, blanks and what stands in brackets don't matter), then by what stands in the
columns. A guess is a proposal: a person sees it with sample rows, and what they corrected is remembered.
"""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any

from refit.calc.money import minor_digits
from refit.calc.text import fold
from refit.carry.importing import own
from refit.carry.importing.fields import BY_KEY, KINDS, MONEY, NUMBER, Kind
from refit.carry.sheets.book import Book, Row, Sheet, Value, letter, words
from refit.carry.sheets.values import SIGNS, day, is_empty, money_sign, number

LOOK_FOR_HEADINGS = 25
SAMPLE = 200
LONGEST = 80  # characters of a heading that are looked at
IN_BRACKETS = re.compile(r"\(.*?\)|\[.*?\]|[:*£€$¥]|\b[A-Z]{3}\b")
# Sums that the program itself exports beside the lines that make them, and what is no order.
OWN_SUMS = {
    fold(title) for title in ("By job", "By supplier", "By month", "Sold and given", "Read me", "About")
}
SINGULAR = {"systems": "budget"}


@dataclass(frozen=True)
class Plan:
    """How one sheet is to be read: its kind ("" leaves it out), the field of each column, and what rows don't say."""

    title: str
    kind: str
    columns: tuple[str, ...]
    headings: tuple[str, ...]
    first: int  # index in the sheet's rows of the first row of data
    options: dict[str, str] = field(default_factory=dict)
    remembered: bool = False

    @property
    def digest(self) -> str:
        """Return what a file of the same shape has in common: its headings."""
        return hashlib.sha256("\n".join(fold(word) for word in self.headings).encode()).hexdigest()

    def column(self, key: str) -> int | None:
        return self.columns.index(key) if key in self.columns else None

    @property
    def is_own(self) -> bool:
        """Return whether these are lines as the program exports them, with its own order numbers."""
        return {"order", "goods", "landed", "state"} <= set(self.columns)


def guess(book: Book, shapes: dict[str, dict[str, Any]] | None = None) -> list[Plan]:
    """Return a plan for each sheet: as remembered for headings like these, else as guessed."""
    return [_remembered(plan, shapes or {}) for plan in (_guess_sheet(sheet) for sheet in book.sheets)]


def _remembered(plan: Plan, shapes: dict[str, dict[str, Any]]) -> Plan:
    kept = shapes.get(plan.digest)
    if kept is None:
        return plan
    return with_choices(plan, kept["kind"], kept["columns"], kept.get("options", {}), remembered=True)


def with_choices(
    plan: Plan, kind: str, columns: Sequence[str], options: dict[str, str], *, remembered: bool = False
) -> Plan:
    """Return the plan as a person (or their last file) has it; a field twice counts for its first column."""
    known = BY_KEY.get(kind)
    chosen: list[str] = []
    for place in range(len(plan.headings)):
        key = columns[place] if place < len(columns) else ""
        right = known is not None and known.field(key) is not None and key not in chosen
        chosen.append(key if right else "")
    return replace(
        plan, kind=kind if known else "", columns=tuple(chosen), options=dict(options), remembered=remembered
    )


def regrouped(plan: Plan, sheet: Sheet, kind: str) -> Plan:
    """Return the plan with its columns guessed anew for another kind."""
    if kind not in BY_KEY:
        return replace(plan, kind="", columns=("",) * len(plan.headings))
    columns = _columns(BY_KEY[kind], plan.headings, sheet.rows[plan.first : plan.first + SAMPLE])
    return replace(plan, kind=kind, columns=columns)


def _guess_sheet(sheet: Sheet) -> Plan:
    at = _heading_row(sheet)
    width = max(len(row.cells) for row in sheet.rows[: SAMPLE + LOOK_FOR_HEADINGS])
    if at is None:
        headings, first = tuple(f"Column {letter(place)}" for place in range(width)), 0
    else:
        cells = sheet.rows[at].cells
        headings = tuple(
            words(cells[place])[:LONGEST] if place < len(cells) and cells[place] is not None else ""
            for place in range(width)
        )
        first = at + 1
    body = sheet.rows[first : first + SAMPLE]
    if fold(sheet.title) in OWN_SUMS and not _is_own_place_list(headings):
        return Plan(sheet.title, "", ("",) * width, headings, first)
    if table := own.table_of(sheet.title, headings):
        return Plan(sheet.title, *own.read_as(table, headings), headings, first)
    best, columns, most = "", ("",) * width, 0.0
    for kind in KINDS:
        found = _columns(kind, headings, body)
        score = _score(kind, found, headings, sheet.title)
        if score > most:
            best, columns, most = kind.key, found, score
    return Plan(sheet.title, best, columns, headings, first, _options(best, headings, body))


def _is_own_place_list(headings: Sequence[str]) -> bool:
    return "Quantity here" in headings


def _heading_row(sheet: Sheet) -> int | None:
    """Return the index of the row that names the most columns; None if none names two."""
    best, most = None, 1
    if own.table_of(sheet.title, [words(cell) for cell in sheet.rows[0].cells]):
        return 0
    for at, row in enumerate(sheet.rows[:LOOK_FOR_HEADINGS]):
        if any(not isinstance(cell, str) for cell in row.cells if cell is not None):
            continue
        named = {_plain(cell) for cell in row.cells if isinstance(cell, str)} - {""}
        hits = max(len(named & _all_headings(kind)) for kind in KINDS)
        if hits > most:
            best, most = at, hits
    if best is None and len(sheet.rows) > 1:
        # One known heading above a row of figures is enough for a list of one column.
        cells = [cell for cell in sheet.rows[0].cells if cell is not None]
        if cells and all(isinstance(cell, str) and _plain(cell) in _any_heading() for cell in cells):
            return 0
    return best


def _all_headings(kind: Kind) -> frozenset[str]:
    return frozenset().union(*(field.folded for field in kind.fields))


def _any_heading() -> frozenset[str]:
    return frozenset().union(*(_all_headings(kind) for kind in KINDS))


def _plain(heading: str) -> str:
    """Return a heading as the list of headings has it; "Price (SEK)" and "Total £" are headings too."""
    heading = heading[:LONGEST]
    whole = fold(heading)
    return whole if whole in _SHORT else fold(IN_BRACKETS.sub("", heading))


_SHORT = frozenset(word for kind in KINDS for field in kind.fields for word in field.folded)


def _columns(kind: Kind, headings: Sequence[str], body: Sequence[Row]) -> tuple[str, ...]:
    """Return the field of each column for a sheet of this kind."""
    chosen = [""] * len(headings)
    named = [_plain(heading) for heading in headings]
    labels = {fold(f.label): f.key for f in kind.fields}
    for exact in (True, False):  # a heading that is the label itself wins over a near name
        for place, heading in enumerate(named):
            if chosen[place] or not heading:
                continue
            for f in kind.fields:
                hit = labels.get(heading) == f.key if exact else heading in f.folded
                if hit and f.key not in chosen and _fits(f.type, [_cell(row, place) for row in body]):
                    chosen[place] = f.key
                    break
    _by_content(kind, chosen, named, body)
    return tuple(chosen)


def _cell(row: Row, place: int) -> Value:
    return row.cells[place] if place < len(row.cells) else None


def _part(values: Sequence[Value], test: Any) -> float:
    there = [value for value in values if not is_empty(value)]
    if not there:
        return 1.0
    return sum(1 for value in there if test(value)) / len(there)


def _fits(type: str, values: Sequence[Value]) -> bool:
    """Return whether what stands in a column can be of a type at all: a heading alone may mislead.

    A quantity is one by its heading: without it rows would come in as one each, and nobody be told.
    """
    if type in (MONEY, NUMBER):
        return _part(values, _is_number) >= 0.3
    return True


def _is_number(value: Value) -> bool:
    if isinstance(value, date):
        return False
    try:
        number(value, ".")
    except ValueError:
        return False
    return True


def _is_day(value: Value) -> bool:
    if isinstance(value, Decimal):
        return False
    for american in (False, True):
        try:
            day(value, american=american)
            return True
        except ValueError:
            continue
    return False


def _is_currency(value: Value) -> bool:
    if not isinstance(value, str) or len(value) != 3:
        return False
    try:
        minor_digits(value.upper())
    except ValueError:
        return False
    return True


def _by_content(kind: Kind, chosen: list[str], named: Sequence[str], body: Sequence[Row]) -> None:
    """Fill in what no heading named and the kind cannot do without, from columns with no telling heading."""
    free = [
        place
        for place, key in enumerate(chosen)
        if not key
        and (named[place] not in _SHORT)
        and _part([_cell(row, place) for row in body], bool)
        and any(not is_empty(_cell(row, place)) for row in body)
    ]
    if kind.key != "orders" or len(set(chosen) - {""}) + len(free) < 3:
        return
    columns = {place: [_cell(row, place) for row in body] for place in free}
    tests = {"date": _is_day, "currency": _is_currency}
    for key, test in tests.items():
        hit = next((p for p in free if key not in chosen and _part(columns[p], test) >= 0.9), None)
        if hit is not None:
            chosen[hit] = key
            free.remove(hit)
    figures = [p for p in free if _part(columns[p], _is_number) >= 0.9]
    texts = [p for p in free if p not in figures]
    whole = next((p for p in figures if _part(columns[p], _is_whole) >= 0.9), None)
    if "quantity" not in chosen and len(figures) > 1 and whole is not None:
        chosen[whole] = "quantity"
        figures.remove(whole)
    if figures and not {"price", "total", "goods"} & set(chosen):
        chosen[figures[0]] = "price"
    if texts and not {"description", "number"} & set(chosen):
        longest = max(texts, key=lambda p: sum(len(words(value)) for value in columns[p]))
        chosen[longest] = "description"
        texts.remove(longest)
    if texts and "supplier" not in chosen:
        chosen[min(texts, key=lambda p: len({words(value) for value in columns[p]}))] = "supplier"


def _is_whole(value: Value) -> bool:
    return (isinstance(value, Decimal) and value == value.to_integral_value()) or (
        isinstance(value, str) and value.isdecimal()
    )


def _score(kind: Kind, columns: Sequence[str], headings: Sequence[str], title: str) -> float:
    """Return how well a sheet fits a kind: columns that it uses, and whether it has what it needs."""
    have = set(columns) - {""}
    if any(not have & set(group) for group in kind.needs):
        return 0.0
    score = float(len(have))
    labels = {fold(f.label) for f in kind.fields}
    score += 0.3 * sum(1 for heading in headings if fold(heading) in labels)
    score += 0.4 * len(kind.needs)
    if fold(title) in (fold(kind.label), kind.key, kind.key.removesuffix("s")):
        score += 3
    if kind.key == "jobs" and not have & {"system", "state", "before", "job_number", "done_on"}:
        score -= 1
    if kind.key == "stock" and not have & {"quantity", "level"}:
        score -= 3
    if kind.key == "parts" and have & {"number", "minimum", "specification", "unit", "maker"}:
        score += 0.2
    return score


def _options(kind: str, headings: Sequence[str], body: Sequence[Row]) -> dict[str, str]:
    """Return what the headings say for all rows: the currency of "Price (SEK)"."""
    if kind != "orders":
        return {}
    for heading in headings:
        for sign, code in SIGNS.items():
            if sign in heading:
                return {"currency": code}
        for word in re.findall(r"\b[A-Z]{3}\b", heading):
            if _is_currency(word):
                return {"currency": word}
    return {}


__all__ = ["Plan", "guess", "money_sign", "regrouped", "with_choices"]
