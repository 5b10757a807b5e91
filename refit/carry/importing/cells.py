"""One row of a sheet as values: each cell read as its column's field, each fault named by sheet, row, column, value.

Decides how words become choices (units, states, kinds); what a row then means, the kinds decide.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from refit.boat.models import Group, Kind, Where
from refit.calc.money import minor_digits
from refit.calc.numbers import format_quantity
from refit.calc.problems import Problem, shown
from refit.calc.text import clean, fold
from refit.carry.importing import own
from refit.carry.importing.fields import (
    BY_KEY,
    CURRENCY,
    DAY,
    EXPIRY,
    MONEY,
    NUMBER,
    QUANTITY,
    TEXT,
    YES,
    Field,
)
from refit.carry.importing.guess import Plan
from refit.carry.sheets import values
from refit.carry.sheets.book import Book, Row, Sheet, Value, letter, words
from refit.stores.models import Hazard, Kept, Level, NumberKind, Unit
from refit.work.models import Before, State

LARGEST = {MONEY: Decimal(10) ** 10, QUANTITY: Decimal("999999.999"), NUMBER: Decimal(10) ** 7}
TOTALS = {
    fold(word)
    for word in ("total", "totals", "grand total", "sum", "summa", "gesamt", "subtotal", "sub total")
}
YESES = {fold(word) for word in ("yes", "y", "x", "true", "1", "✓", "✔", "ja", "oui", "si", "ok")}
NOES = {fold(word) for word in ("no", "n", "false", "0", "nein", "nej", "non")}

QUOTED = re.compile(r"^“[^”]*” ")

HOME_MONEY = ("goods", "landed")  # columns that are in the boat's money whatever the order's is

ARRIVED, TO_COME, DRAFT, CANCELLED, PART_ARRIVED = "arrived", "ordered", "draft", "cancelled", "part"


def _choices(*groups: tuple[str, str]) -> dict[str, str]:
    return {fold(word): value for value, some in groups for word in some.split("|")}


CHOICES: dict[tuple[str, str], dict[str, str]] = {
    ("", "unit"): {fold(unit.label): unit.value for unit in Unit} | _choices(
        ("each", "each|ea|pc|pcs|piece|pieces|no|off|st|stk|stück|unit|units|item|x|1"),
        ("m", "m|metre|metres|meter|meters|mtr"), ("kg", "kg|kilo|kilos|kilogram|kilograms"),
        ("l", "l|ltr|litre|litres|liter|liters"), ("sheet", "sheet|sheets"), ("pair", "pair|pairs|pr"),
        ("set", "set|sets|kit|kits"), ("h", "h|hr|hrs|hour|hours|std"),
    ),
    ("", "kept"): {fold(kept.label): kept.value for kept in Kept} | _choices(
        ("counted", "count|counted|quantity"), ("level", "level|by level"), ("here", "here|not counted"),
    ),
    ("", "number_kind"): {fold(kind.label): kind.value for kind in NumberKind} | _choices(
        ("maker", "maker|manufacturer"), ("supplier", "supplier|seller"), ("superseded", "superseded|old"),
        ("gtin", "gtin|ean|upc|barcode"),
    ),
    ("", "hazard"): {fold(h.label): h.value for h in Hazard} | {fold(h.value): h.value for h in Hazard},
    ("", "level"): {level.value: level.value for level in Level if level.value} | _choices(
        ("fine", "full|plenty|ok|good"), ("low", "little|half"), ("gone", "empty|out|none left"),
    ),
    ("", "group"): {fold(group.label): group.value for group in Group},
    ("", "where"): {fold(where.label): where.value for where in Where} | _choices(
        ("aboard", "on board|onboard"), ("ashore", "ashore|shed|store|home|yard"), ("away", "away"),
    ),
    ("places", "kind"): _choices(
        (Kind.AREA, "area|cabin|zone"), (Kind.LOCKER, "locker|shelf|drawer|place|cupboard"), (Kind.BOX, "box|crate|bin"),
        (Kind.BAG, "bag|sack"), (Kind.UNSTOWED, "not stowed yet"),
    ),
    ("jobs", "state"): {fold(state.label): state.value for state in State} | _choices(
        ("planned", "open|to do|todo|new|not started|no"), ("in_hand", "started|in progress|ongoing|doing|half done"),
        ("done", "done|finished|complete|completed|closed|yes|x|✓|ok"), ("waiting", "blocked|on hold|waiting for parts"),
        ("later", "postponed|deferred|some day"),
    ),
    ("jobs", "before"): {fold(before.label): before.value for before in Before} | _choices(
        ("launch", "launch|now|high|urgent|1"), ("departure", "departure|before leaving|medium|2"),
        ("afloat", "afloat|after launch|low|3"), ("another", "next year|another year|someday|4"),
    ),
    ("orders", "state"): _choices(
        (ARRIVED, "arrived|received|delivered|complete|completed|closed|yes|done|in stock|here|got it|x|✓|refunded"),
        (TO_COME, "ordered|open|to come|pending|outstanding|sent|shipped|on order|on its way|placed|no|backorder|paid"),
        (PART_ARRIVED, "part arrived|partly arrived|partial"),
        (DRAFT, "not ordered yet|draft|wish|wanted|to buy|to order|planned"), (CANCELLED, "cancelled|canceled|void"),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """What is wrong with one row, named by where it stands."""

    sheet: int
    title: str
    row: int
    column: str  # the letter; empty where it is the row as a whole
    heading: str
    value: str
    why: str

    @property
    def where(self) -> str:
        """Return the cell as spreadsheets name it: D14."""
        return f"{self.column}{self.row}" if self.column else f"row {self.row}"

    def __str__(self) -> str:
        value = f" {shown(self.value)}" if self.value else ""
        heading = f" ({self.heading})" if self.heading else ""
        return f"{self.title}, {self.where}{heading}:{value} {self.why}"


@dataclass
class Line:
    """One row with the values of its fields; a field without a value is not in `data`."""

    sheet: int
    plan: Plan
    row: Row
    data: dict[str, Any] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    marked: dict[str, str] = field(default_factory=dict)  # the currency beside an amount, as in "45.00 EUR"

    @property
    def currency(self) -> str:
        """Return the currency that an amount of this row names; empty if none does."""
        return next((code for key, code in self.marked.items() if key not in HOME_MONEY), "")

    def get(self, key: str, default: Any = None) -> Any:
        return self.data.get(key, default)

    def fault(self, key: str, why: str) -> None:
        """Name a fault in the column of a field, or of the row where no column holds it."""
        place = self.plan.column(key)
        value = words(self.row.cells[place]) if place is not None and place < len(self.row.cells) else ""
        if place is not None and any(fault.column == letter(place) for fault in self.faults):
            return  # one cell, one fault: what could not be read is not also missing
        self.faults.append(
            Fault(
                self.sheet,
                self.plan.title,
                self.row.number,
                "" if place is None else letter(place),
                "" if place is None else self.plan.headings[place],
                value,
                why,
            )
        )


@dataclass(frozen=True)
class _Style:
    """How a column writes its numbers and days."""

    mark: str = ""
    american: bool = False


def lines_of(book: Book, index: int, plan: Plan) -> tuple[list[Line], int]:
    """Return the rows of a sheet as values, and how many rows of totals were left out."""
    sheet = book.sheets[index]
    kind = BY_KEY[plan.kind]
    columns = [(place, f) for place, key in enumerate(plan.columns) if key and (f := kind.field(key))]
    styles = {place: _style(f, sheet, plan, place) for place, f in columns}
    found, totals = [], 0
    for row in sheet.rows[plan.first :]:
        line = Line(index, plan, row)
        for place, f in columns:
            value = row.cells[place] if place < len(row.cells) else None
            if not values.is_empty(value):
                _read(line, f, value, styles[place], book.date_1904)
        if _is_total(row) and not line.get("description"):
            totals += 1
        elif line.data or line.faults:
            found.append(line)
    return found, totals


def _is_total(row: Row) -> bool:
    first = next((cell for cell in row.cells if cell is not None), None)
    return isinstance(first, str) and fold(first.rstrip(":")) in TOTALS


def _style(f: Field, sheet: Sheet, plan: Plan, place: int) -> _Style:
    if f.type not in (MONEY, QUANTITY, NUMBER, DAY, EXPIRY):
        return _Style()
    if own.table_of(plan.title, plan.headings):
        return _Style(mark=".")  # as the program writes them: 1.125 is a little over one
    cells = [row.cells[place] for row in sheet.rows[plan.first :] if place < len(row.cells)]
    if f.type in (DAY, EXPIRY):
        said = plan.options.get("days", "")
        return _Style(american=said == "month" or (not said and bool(values.month_first(cells))))
    return _Style(mark=values.decimal_mark(cells) or _mark_of_sheet(sheet, plan))


def _mark_of_sheet(sheet: Sheet, plan: Plan) -> str:
    """Return the decimal mark that the sheet's other columns of figures show."""
    kind = BY_KEY[plan.kind]
    figures = [
        place
        for place, key in enumerate(plan.columns)
        if key and (f := kind.field(key)) and f.type in (MONEY, QUANTITY, NUMBER)
    ]
    return values.decimal_mark(
        row.cells[place] for row in sheet.rows[plan.first :] for place in figures if place < len(row.cells)
    )


def _read(line: Line, f: Field, value: Value, style: _Style, from_1904: bool) -> None:
    try:
        line.data[f.key] = _value(line, f, value, style, from_1904)
    except Problem as problem:
        line.fault(f.key, _without_value(str(problem), value))


def _without_value(sentence: str, value: Value) -> str:
    """Return a refusal's sentence without the value in front of it (as it stood, or as it was understood)."""
    rest = sentence.removeprefix(shown(words(value))).strip()
    return QUOTED.sub("", rest) or sentence


def _value(line: Line, f: Field, value: Value, style: _Style, from_1904: bool) -> Any:
    if f.type == TEXT:
        return _text(value, f.most)
    if f.type in (MONEY, QUANTITY, NUMBER):
        return _number(line, f, value, style)
    if f.type == DAY:
        if f.key in ("arrived", "done_on") and isinstance(value, str) and fold(value) in YESES | NOES:
            return fold(value) in YESES
        return values.day(value, american=style.american, count_from_1904=from_1904)
    if f.type == EXPIRY:
        return values.expiry(value, american=style.american, count_from_1904=from_1904)
    if f.type == CURRENCY:
        return _currency(value)
    if f.type == YES:
        folded = fold(words(value))
        if folded not in YESES | NOES:
            raise Problem("is neither yes nor no.", "choice")
        return folded in YESES
    return _choice(line.plan.kind, f, value)


def _text(value: Value, most: int) -> str:
    text = clean(words(value))
    if len(text) > most:
        raise Problem(f"is too long: {len(text)} characters, at most {most} can be kept.", "too_long")
    return text


def _number(line: Line, f: Field, value: Value, style: _Style) -> Decimal:
    found = values.number(value, style.mark)
    if abs(found) > LARGEST[f.type]:
        raise Problem("is too large.", "too_large")
    if f.type == QUANTITY and found != found.quantize(Decimal("0.001")):
        raise Problem("has too many decimals; a quantity has at most three.", "places")
    if f.type == QUANTITY and found < 0:
        raise Problem("is below nil.", "negative")
    if f.type == NUMBER and found < 0:
        raise Problem("is below nil.", "negative")
    if f.type == MONEY and (sign := values.money_sign(value)):
        line.marked[f.key] = _known_currency(sign)
    return found


def _known_currency(code: str) -> str:
    try:
        minor_digits(code)
    except ValueError:
        raise Problem(f"names no currency that is known ({code}).", "currency") from None
    return code


def _currency(value: Value) -> str:
    text = words(value).strip()
    code = values.SIGNS.get(text, text.upper())
    try:
        minor_digits(code)
    except ValueError:
        raise Problem("is not a currency; use a code such as GBP, EUR or SEK.", "currency") from None
    return code


def _choice(kind: str, f: Field, value: Value) -> str:
    table = CHOICES.get((kind, f.key)) or CHOICES[("", f.key)]
    found = table.get(fold(words(value).rstrip(".")))
    if found is None:
        raise Problem(f"is not known as {f.label.lower()}.", "choice")
    return found


def as_day(value: Any) -> date | None:
    """Return a day where a cell held one; "yes" in a column of days is none."""
    return value if isinstance(value, date) else None


def counted(quantity: Decimal) -> str:
    return format_quantity(quantity)


def faults_of(lines: Sequence[Line]) -> list[Fault]:
    return [fault for line in lines for fault in line.faults]
