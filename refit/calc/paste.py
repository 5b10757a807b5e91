"""Rows pasted from a spreadsheet or an order mail: which column is what, and what each row says.

Decides by content, helped by headings where there are some: words are the longest text, a number the short code
beside it, and quantity × price = total tells the money columns apart. Does not know parts, currencies or orders;
what it is not sure of, a person corrects on the lines it makes.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from .money import minor_digits
from .numbers import NumberProblem, parse_number
from .problems import Problem
from .text import fold

Thing = TypeVar("Thing")

MOST_ROWS = 200
MOST_COLUMNS = 40
SOME, MOST = Decimal("0.6"), Decimal("0.8")

QUANTITY, EACH, TOTAL, NUMBER, WORDS = "quantity", "each", "total", "number", "words"
# Headings as shops print them, in the languages of the yards round the North Sea, the Baltic and further south.
HEADINGS: dict[str, tuple[str, ...]] = {
    QUANTITY: ("qty", "quantity", "antal", "menge", "anzahl", "quantité", "cantidad", "aantal", "pcs", "how many"),
    TOTAL: (
        "total", "line total", "amount", "sum", "summa", "gesamt", "gesamtpreis", "betrag", "montant", "importe",
        "belopp", "in all", "total price", "subtotal", "net amount",
    ),
    EACH: (
        "price", "unit price", "each", "price each", "à-pris", "pris", "preis", "einzelpreis", "prix",
        "prix unitaire", "precio", "prijs", "unit cost", "cost", "rate", "net price",
    ),
    NUMBER: (
        "part no", "part no.", "part number", "part", "sku", "item no", "item no.", "item number", "art no",
        "art.nr", "art.nr.", "artnr", "artikelnummer", "artikelnr", "article no", "code", "product code", "ref",
        "reference", "référence", "number", "no", "no.", "nr", "catalogue no",
    ),
    WORDS: (
        "description", "name", "product", "item", "item description", "product name", "benämning", "beskrivning",
        "bezeichnung", "artikel", "article", "désignation", "descripción", "omschrijving", "goods", "what",
    ),
}  # fmt: skip
ROLES = {fold(word): role for role, words in HEADINGS.items() for word in words}
# What stands at the foot of an order and is no line of it.
FOOT = re.compile(
    r"(grand |sub[ -]?|order )?total\b|sum(ma)?\b|gesamt|vat\b|moms\b|mwst|ust\b|(sales )?tax\b|tva\b|iva\b|"
    r"shipping|freight|postage|delivery\b|carriage\b|p ?& ?p\b|frakt|versand|porto\b",
    re.IGNORECASE,
)
AMOUNT = re.compile(
    r"(?P<before>[£€$¥]|kr\.?|[A-Za-z]{2,3}\$?)?[ \u00a0]*"
    r"(?P<number>[+\-−]?[0-9][0-9.,\u00a0\u2009\u202f ]*)"
    r"(?P<after>[£€$¥]|[x×]|[^\W\d_]{1,6}\.?|:-|,-)?"
)
TIMES = re.compile(r"([0-9]+(?:[.,][0-9]+)?) ?[x×] +(\S.*)")


class PasteProblem(Problem):
    """Pasted text that no lines can be made of; `code` is "empty" or "too_many"."""


@dataclass(frozen=True)
class Row:
    """One row as read: a price is for one as sold, or (`in_all`) for the row."""

    words: str
    number: str = ""
    quantity: Decimal = Decimal(1)
    price: Decimal | None = None
    in_all: bool = False


@dataclass(frozen=True)
class Pasted:
    """The rows that became lines, and what was left out: totals, tax, freight and rows that name nothing."""

    rows: tuple[Row, ...]
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Figure:
    value: Decimal
    is_money: bool  # bears a sign or a code of money, or exactly two decimals
    is_code: bool  # five digits or more, or a nought before others: sooner an article number


def parse_rows(text: str) -> Pasted:
    """Return the rows of tab-separated text as things with quantities and prices.

    Raise PasteProblem for text without anything in it, or with too many rows.
    """
    table = _split(text)
    if not table:
        raise PasteProblem("There is nothing here; copy the rows and paste them in.", "empty")
    if len(table) > MOST_ROWS:
        raise PasteProblem(f"{len(table)} rows are too many; paste at most {MOST_ROWS} at once.", "too_many")
    named = _headings(table[0])
    body = table[1:] if named else table
    roles = _guess(body, named)
    rows: list[Row] = []
    left_out: list[str] = []
    for cells in body:
        row = _row(cells, roles)
        if row is None:
            left_out.append(" ".join(cell for cell in cells if cell))
        else:
            rows.append(row)
    return Pasted(tuple(rows), tuple(left_out))


def figure(cell: str) -> Decimal | None:
    """Return the number in a cell, with any sign of money or unit off it; None if it is no number."""
    found = _figure(cell)
    return None if found is None else found.value


def _split(text: str) -> list[list[str]]:
    lines = [line for line in re.split(r"\r\n|\r|\n", text) if line.strip()]
    if any("\t" in line for line in lines):
        parts = [line.split("\t") for line in lines]
    elif lines and all(";" in line for line in lines):
        parts = [line.split(";") for line in lines]
    else:
        parts = [re.split(r" {2,}", line.strip()) for line in lines]
    rows = [[_bare(cell) for cell in cells[:MOST_COLUMNS]] for cells in parts]
    width = max((len(cells) for cells in rows), default=0)
    return [cells + [""] * (width - len(cells)) for cells in rows if any(cells)]


def _bare(cell: str) -> str:
    kept = " ".join(cell.split())
    if len(kept) > 1 and kept[0] == kept[-1] == '"':
        kept = kept[1:-1].replace('""', '"').strip()
    return kept


def _headings(cells: Sequence[str]) -> dict[str, int]:
    """Return the columns that the first row names; nothing if it is a row like the others."""
    if any(_figure(cell) for cell in cells):
        return {}
    found: dict[str, int] = {}
    for place, cell in enumerate(cells):
        # "Price (SEK)" and "Total £" are headings too.
        role = ROLES.get(fold(re.sub(r"\(.*?\)|[£€$¥:]|\b[A-Z]{3}\b", "", cell).strip()))
        if role:
            found.setdefault(role, place)
    return found if found.keys() - {NUMBER, WORDS} or len(found) > 1 else {}


def _figure(cell: str) -> _Figure | None:
    found = AMOUNT.fullmatch(cell.strip())
    if found is None:
        return None
    marks = [mark for mark in (found["before"], found["after"]) if mark]
    is_money = any(_is_money(mark) for mark in marks)
    if found["before"] and not _is_money(found["before"]):
        return None  # "AB 120" is a code, not an amount
    number = found["number"].strip()
    value = _number(number)
    if value is None:
        return None
    digits = re.sub(r"\D", "", number)
    plain = number.isdecimal() and not marks
    is_code = plain and (len(digits) > 4 or (len(digits) > 1 and digits[0] == "0"))
    return _Figure(value, is_money or re.search(r"[.,][0-9]{2}$", number) is not None, is_code)


def _is_money(mark: str) -> bool:
    if mark.rstrip(".").casefold() == "kr" or mark in "£€$¥" or mark in (":-", ",-") or mark.endswith("$"):
        return True
    try:
        minor_digits(mark)
    except ValueError:
        return False
    return True


def _number(text: str) -> Decimal | None:
    # Two decimals first: "1,234" can then only be 1234, as on most papers.
    for places in (2, 4):
        try:
            return parse_number(text, places=places)
        except NumberProblem:
            continue
    return None


def _guess(body: Sequence[Sequence[str]], named: dict[str, int]) -> dict[str, int]:
    """Return the column of each role: as headed, and else by what stands in the columns."""
    roles = dict(named)
    width = len(body[0]) if body else 0
    free = [place for place in range(width) if place not in roles.values()]
    rows = [cells for cells in body if not FOOT.match(next((cell for cell in cells if cell), ""))] or list(
        body
    )
    columns = {place: [cells[place] for cells in rows if cells[place]] for place in free}
    figures = {place: [_figure(cell) for cell in cells] for place, cells in columns.items()}
    codes = [
        p for p in free if columns[p] and _part_of(figures[p], lambda f: f is not None and f.is_code) > SOME
    ]
    counted = [
        p
        for p in free
        if p not in codes and columns[p] and _part_of(figures[p], lambda f: f is not None) > SOME
    ]
    texts = [p for p in free if p not in counted and p not in codes and columns[p]]
    if WORDS not in roles and texts:
        roles[WORDS] = max(texts, key=lambda p: (_letters(columns[p]), -p))
        texts.remove(roles[WORDS])
    if NUMBER not in roles:
        likely = [p for p in texts if _part_of(columns[p], _is_like_a_number) > SOME]
        if codes or likely:
            roles[NUMBER] = min(codes or likely)
    return roles | _money(rows, counted, figures, roles)


def _money(
    rows: Sequence[Sequence[str]],
    counted: list[int],
    figures: dict[int, list[_Figure | None]],
    roles: dict[str, int],
) -> dict[str, int]:
    """Tell quantity, price and total apart among the columns of figures that no heading names."""
    wanted = [role for role in (QUANTITY, EACH, TOTAL) if role not in roles]
    if len(wanted) == 3:
        for first in counted:
            for second in counted:
                for third in counted:
                    if len({first, second, third}) == 3 and _agree(rows, first, second, third):
                        if _is_whole(figures[second]) and not _is_whole(figures[first]):
                            first, second = second, first
                        return {QUANTITY: first, EACH: second, TOTAL: third}
    found: dict[str, int] = {}
    left = list(counted)
    if QUANTITY in wanted:
        whole = [p for p in left if _is_whole(figures[p]) and not _is_priced(figures[p])]
        if whole:
            found[QUANTITY] = whole[0]
            left.remove(whole[0])
    prices = [p for p in left if _is_priced(figures[p])] or left
    for role in (EACH, TOTAL):
        if role in wanted and prices:
            found[role] = prices.pop(0)
    # Without a quantity or a heading, the only price is that of one: the line says so and can be changed.
    return found


def _agree(rows: Sequence[Sequence[str]], first: int, second: int, third: int) -> bool:
    checked, agreed = 0, 0
    for cells in rows:
        values = [figure(cells[place]) for place in (first, second, third)]
        if any(value is None for value in values):
            continue
        checked += 1
        quantity, each, total = (value or Decimal(0) for value in values)
        # Half a hundredth for each piece: a price each is often printed rounded.
        agreed += abs(quantity * each - total) <= max(Decimal("0.01"), abs(quantity) * Decimal("0.005"))
    return checked > 0 and agreed >= MOST * checked


def _row(cells: Sequence[str], roles: dict[str, int]) -> Row | None:
    def cell(role: str) -> str:
        return cells[roles[role]] if role in roles else ""

    words, number = cell(WORDS), cell(NUMBER)
    first = next((text for text in cells if text), "")
    if not (words or number) or FOOT.match(words or number) or FOOT.match(first):
        return None
    quantity = figure(cell(QUANTITY))
    if quantity is None and QUANTITY not in roles:
        counted = TIMES.fullmatch(words)
        if counted:
            quantity, words = _number(counted[1]), counted[2]
    each, total = figure(cell(EACH)), figure(cell(TOTAL))
    return Row(
        words or number,
        number if words else "",
        quantity if quantity is not None and quantity > 0 else Decimal(1),
        each if each is not None else total,
        each is None and total is not None,
    )


def _part_of(things: Sequence[Thing], is_so: Callable[[Thing], bool]) -> Decimal:
    return Decimal(sum(1 for thing in things if is_so(thing))) / max(len(things), 1)


def _is_whole(figures: Sequence[_Figure | None]) -> bool:
    return all(f.value == f.value.to_integral_value() for f in figures if f)


def _is_priced(figures: Sequence[_Figure | None]) -> bool:
    return _part_of(figures, lambda f: f is not None and f.is_money) > SOME


def _letters(cells: Sequence[str]) -> Decimal:
    return Decimal(sum(sum(letter.isalpha() for letter in cell) for cell in cells)) / max(len(cells), 1)


def _is_like_a_number(cell: str) -> bool:
    return len(cell) <= 25 and any(letter.isdecimal() for letter in cell) and cell.count(" ") <= 2
