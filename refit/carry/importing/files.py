"""Spreadsheets that go back to the person: the rows that were left out, and empty templates to fill in."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any

from refit.boat.identity import identity
from refit.boat.models import Boat
from refit.carry.importing.check import Checked
from refit.carry.importing.fields import BY_KEY, KINDS
from refit.carry.importing.guess import Plan
from refit.carry.sheets.book import Book, words
from refit.reports.workbook import Column, Sheet, workbook

WHY = "Why it was left out"
# Fields that only lists of a program have.
NOT_TYPED = ("order", "goods", "landed", "others", "contact", "number_kind")


def faults_file(boat: Boat, book: Book, plans: Sequence[Plan], done: Checked, as_at: date) -> bytes:
    """Write the rows that are not right, as they stand in the file, with why in a column of its own."""
    why: dict[int, dict[int, list[str]]] = defaultdict(lambda: defaultdict(list))
    for fault in (*done.faults, *done.along):
        heading = f"{fault.heading or fault.column} " if fault.column else ""
        value = f"“{fault.value}” " if fault.value else ""
        why[fault.sheet][fault.row].append(f"{heading}{value}{fault.why}")
    sheets: list[Sheet] = []
    for index, rows in sorted(why.items()):
        plan = plans[index]
        width = len(plan.headings)
        lines: list[list[Any]] = []
        for row in book.sheets[index].rows:
            if row.number in rows:
                cells = [words(cell) for cell in row.cells[:width]]
                cells += [""] * (width - len(cells))
                lines.append([*cells, " · ".join(rows[row.number]), f"row {row.number}"])
        columns = [Column(heading) for heading in plan.headings] + [Column(WHY, width=60), Column("Stood in")]
        sheets.append(Sheet(_title(plan.title, sheets), columns, lines))
    return workbook(
        sheets or [Sheet("Nothing", [Column(WHY)], [])],
        boat.currency,
        title="Rows left out",
        identity=identity(boat),
        as_at=as_at,
    )


def template_file(boat: Boat, kind: str, as_at: date) -> bytes:
    """Write an empty spreadsheet of one kind, or of all of them, with one row as an example."""
    kinds = [BY_KEY[kind]] if kind in BY_KEY else list(KINDS)
    sheets = []
    for one in kinds:
        shown = [f for f in one.fields if f.key not in NOT_TYPED]
        example = [f.example or "" for f in shown]
        example = [
            boat.currency if f.type == "currency" else word for f, word in zip(shown, example, strict=True)
        ]
        note = "The first row is an example: write yours over it. Columns that you do not need can go."
        sheets.append(Sheet(one.label, [Column(f.label) for f in shown], [example], note=note))
    return workbook(sheets, boat.currency, title="To fill in", identity=identity(boat), as_at=as_at)


def _title(title: str, there: Sequence[Sheet]) -> str:
    kept = "".join(" " if letter in "[]:*?/\\'" else letter for letter in title)[:28].strip() or "Sheet"
    used = {sheet.title.casefold() for sheet in there}
    name, count = kept, 2
    while name.casefold() in used:
        name, count = f"{kept} {count}", count + 1
    return name
