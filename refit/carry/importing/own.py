"""Sheets of "All my data", as the program exports it: which of them come in again, and by which columns.

Decides that a table is never taken for something that it is not: a payment is no part. What an order line says more
than the lists of other people do, `ordered` reads.
"""

import re
from collections.abc import Sequence
from datetime import date

from refit.calc.text import fold
from refit.carry.everything_words import TABLES
from refit.stores.models import Condition
from refit.stores.models.parts import GOOD_CONDITIONS

PARTS = "Parts"
NUMBERS = "Part numbers"  # each row is one more number of a part
ORDER_LINES = "Order lines"
# For each table that comes in: what its rows are about, and the field of each heading.
BROUGHT: dict[str, tuple[str, dict[str, str]]] = {
    "Systems": ("systems", {"Name": "name", "Group": "group"}),
    "Suppliers": (
        "suppliers",
        {"Name": "name", "Currency": "currency", "Web address": "web", "Note": "note"},
    ),
    "Places": (
        "places",
        {
            **{"Parent": "inside", "Area": "area", "Whereabouts": "where", "Kind": "kind"},
            **{"Mark": "mark", "Name": "name", "Note": "note"},
        },
    ),
    "Jobs": (
        "jobs",
        {
            **{"Number": "job_number", "Title": "title", "System": "system", "State": "state"},
            **{"To be done": "before", "Note": "note", "Given to": "given_to", "Done on": "done_on"},
        },
    ),
    PARTS: (
        "parts",
        {
            **{"Name": "name", "Specification": "specification", "Unit": "unit", "Kept": "kept"},
            **{"Weight of one, kg": "weight", "Hazard class": "hazard", "System": "system"},
            **{"Spare to carry": "spare", "Least to carry": "minimum"},
        },
    ),
    NUMBERS: (
        "parts",
        {"Part": "name", "Kind": "number_kind", "Number": "number", "Maker or supplier": "maker"},
    ),
    "What is where": (
        "stock",
        {"Part": "name", "Batch": "serial", "Place": "mark", "Quantity": "quantity", "Level": "level"},
    ),
    ORDER_LINES: (
        "orders",
        {
            **{"Order": "order", "Reference": "reference", "Supplier": "supplier", "Ordered on": "date"},
            **{"Expected on": "expected", "Order state": "state", "Rate": "rate", "Order note": "note"},
            **{"Part": "description", "Quantity": "quantity", "Unit": "unit", "Last came on": "arrived"},
            **{"Amount": "total", "Amount, currency": "currency", "Goods": "goods", "Cost all in": "landed"},
            **{"Job": "job", "System": "system", "Place": "locker"},
        },
    ),
}
TITLES = {fold(re.sub(r"\W", " ", title)): title for title, _ in TABLES}
# Conditions in which a thing lies there and is of no use; it would come in as good.
NOT_GOOD = tuple(str(Condition(each).label) for each in Condition.values if each not in GOOD_CONDITIONS)
RUN_ON = re.compile(
    r"[\s(]+\d+\)?$"
)  # too long for one sheet, or taken twice: Order lines 2, order-lines (1)
IN_MONEY = re.compile(r", ([A-Z]{3})$")  # Goods, GBP


def table_of(title: str, headings: Sequence[str]) -> str:
    """Return the table of All my data that a sheet (or one of its csv) is; empty if it is none."""
    if not headings or headings[0] != "Id":
        return ""
    found = TITLES.get(fold(re.sub(r"\W", " ", RUN_ON.sub("", title))), "")
    known = BROUGHT[found][1] if found in BROUGHT else {}
    return found if set(known) <= set(map(_bare, headings)) else ""


def read_as(table: str, headings: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    """Return the kind of a table's rows and the field of each column; no kind for what stays out."""
    kind, fields = BROUGHT.get(table, ("", {}))
    return kind, tuple(fields.get(_bare(heading), "") for heading in headings)


def _bare(heading: str) -> str:
    """Return a heading without the boat's money: of all years, its amounts are in one currency."""
    return IN_MONEY.sub("", heading)


def money_of(headings: Sequence[str]) -> str:
    """Return the currency that a table's headings say its amounts are in; empty if none does."""
    return next((found[1] for heading in headings if (found := IN_MONEY.search(heading))), "")


def cell(headings: Sequence[str], cells: Sequence[object], heading: str) -> object:
    """Return what stands below a heading; None for nothing."""
    place = headings.index(heading) if heading in headings else len(cells)
    return cells[place] if place < len(cells) else None


def in_use(table: str, headings: Sequence[str], cells: Sequence[object]) -> bool:
    """Return whether a row of a table is still in use: neither what was retired nor scrap comes to life again."""
    if not table:
        return True
    return cell(headings, cells, "Retired at") is None and cell(headings, cells, "Condition") not in NOT_GOOD


def batch(words: str) -> tuple[str, date | None]:
    """Return the serial and the day of a batch as All my data names it: "B7 2028-03-31"."""
    found = re.fullmatch(r"(.*?)\s*(\d{4}-\d\d-\d\d)", words)
    return (found[1], date.fromisoformat(found[2])) if found else (words, None)
