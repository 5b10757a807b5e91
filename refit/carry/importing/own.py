"""Sheets of "All my data", as the program exports it: which of them come in again, and by which columns.

Decides that a table is never taken for something that it is not: a payment is no part. Orders with all their money
come in from the spend workbook, whose lines say what each cost all in.
"""

import re
from collections.abc import Sequence
from datetime import date

from refit.calc.text import fold
from refit.carry.everything import TABLES

NUMBERS = "Part numbers"  # each row is one more number of a part
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
    "Parts": (
        "parts",
        {
            **{"Name": "name", "Specification": "specification", "Unit": "unit", "Kept": "kept"},
            **{"Weight of one, kg": "weight", "Hazard class": "hazard", "System": "system"},
            **{"Spare to carry": "spare", "Least to carry": "minimum"},
        },
    ),
    NUMBERS: ("parts", {"Part": "name", "Number": "number"}),
    "What is where": (
        "stock",
        {"Part": "name", "Batch": "serial", "Place": "mark", "Quantity": "quantity", "Level": "level"},
    ),
}
TITLES = {fold(re.sub(r"\W", " ", title)): title for title, _ in TABLES}
RUN_ON = re.compile(r"\s+\d+$")  # a table too long for one sheet runs on: Order lines 2


def table_of(title: str, headings: Sequence[str]) -> str:
    """Return the table of All my data that a sheet (or one of its csv) is; empty if it is none."""
    if not headings or headings[0] != "Id":
        return ""
    found = TITLES.get(fold(re.sub(r"\W", " ", RUN_ON.sub("", title))), "")
    known = BROUGHT[found][1] if found in BROUGHT else {}
    return found if set(known) <= set(headings) else ""


def read_as(table: str, headings: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    """Return the kind of a table's rows and the field of each column; no kind for what stays out."""
    kind, fields = BROUGHT.get(table, ("", {}))
    return kind, tuple(fields.get(heading, "") for heading in headings)


def in_use(table: str, headings: Sequence[str], cells: Sequence[object]) -> bool:
    """Return whether a row of a table is still in use: what was retired does not come to life again."""
    place = headings.index("Retired at") if table and "Retired at" in headings else len(cells)
    return place >= len(cells) or cells[place] is None


def batch(words: str) -> tuple[str, date | None]:
    """Return the serial and the day of a batch as All my data names it: "B7 2028-03-31"."""
    found = re.fullmatch(r"(.*?)\s*(\d{4}-\d\d-\d\d)", words)
    return (found[1], date.fromisoformat(found[2])) if found else (words, None)
