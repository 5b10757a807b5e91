"""What a spreadsheet is to us: sheets of plain rows, and notes on how they were read.

A cell is text (cleaned), an exact number, a day, or nothing. Decides the limits on size; reads no file itself.
"""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from refit.calc.problems import Problem

Value = str | Decimal | date | None

MOST_BYTES = 25 * 1024 * 1024
MOST_ROWS = 100_000
MOST_COLUMNS = 60
MOST_SHEETS = 80
BLANK_ROWS = 1000  # after so many empty rows in a row, a sheet is over


class SheetProblem(Problem):
    """A file that was refused whole; `code` is for programs, the message for people."""


@dataclass(frozen=True)
class Row:
    """One row as it stands: its number as the spreadsheet counts it, and its cells from column A on."""

    number: int
    cells: tuple[Value, ...]


@dataclass
class Sheet:
    """One sheet: its title and the rows that hold anything."""

    title: str
    rows: list[Row] = field(default_factory=list)


@dataclass
class Book:
    """A file as read. Notes say what a person should know: formulas, macros, merged cells, a separator."""

    name: str
    sheets: list[Sheet] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    date_1904: bool = False


def letter(column: int) -> str:
    """Return the letters of a column, counted from 0: A, B ... Z, AA."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def words(value: Value) -> str:
    """Return a cell as a person would read it."""
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()
    return value if isinstance(value, str) else f"{value:f}"
