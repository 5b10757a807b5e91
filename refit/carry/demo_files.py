"""Reading the demo's data files: tables as CSV, facts as TOML, both made to be read and edited by people.

Decides what a cell may hold and names the file and row of what is wrong. Days are offsets from the day the demo is
made, so that nothing in the files grows old. Does not know what the rows are for.
"""

import csv
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from django.conf import settings

DEMO_FOLDER = Path(settings.BASE_DIR) / "demo"


class BadFile(ValueError):
    """Something in a data file cannot be read; the sentence names the file and the row."""


@dataclass(frozen=True)
class Row:
    """One row of a table, with the place where it stands."""

    file: str
    number: int
    cells: dict[str, str]
    made_on: date

    def text(self, name: str) -> str:
        """Return the words in a cell."""
        if name not in self.cells:
            raise self.wrong(f"has no column {name}")
        return self.cells[name]

    def given(self, name: str) -> str:
        """Return the words in a cell that may not be empty."""
        words = self.text(name)
        if not words:
            raise self.wrong(f"says nothing under {name}")
        return words

    def yes(self, name: str) -> bool:
        """Return whether a cell says yes."""
        words = self.text(name)
        if words not in ("", "yes", "no"):
            raise self.wrong(f"says {words!r} under {name}; write yes, or leave it empty")
        return words == "yes"

    def number_or_none(self, name: str) -> Decimal | None:
        """Return the number in a cell, or None where it is empty."""
        words = self.text(name)
        if not words:
            return None
        try:
            return Decimal(words)
        except InvalidOperation:
            raise self.wrong(f"says {words!r} under {name}, which is no number") from None

    def amount(self, name: str, otherwise: str = "") -> Decimal:
        """Return the number in a cell that may not be empty, unless there is another for it."""
        found = self.number_or_none(name)
        if found is None and otherwise:
            return Decimal(otherwise)
        if found is None:
            raise self.wrong(f"says nothing under {name}")
        return found

    def whole(self, name: str) -> int | None:
        """Return the whole number in a cell, or None where it is empty."""
        found = self.number_or_none(name)
        if found is not None and found != found.to_integral_value():
            raise self.wrong(f"says {found} under {name}, which is no whole number")
        return None if found is None else int(found)

    def day(self, name: str) -> date | None:
        """Return the day so many days from the day the demo is made, or None."""
        days = self.whole(name)
        return None if days is None else self.made_on + timedelta(days=days)

    def wrong(self, what: str) -> BadFile:
        """Return the error for this row."""
        return BadFile(f"{self.file}, row {self.number}, {what}.")


@dataclass(frozen=True)
class Files:
    """The folder of data files, read for the day the demo is made."""

    made_on: date
    folder: Path = DEMO_FOLDER

    def rows(self, name: str) -> Iterator[Row]:
        """Yield the rows of a table; row 1 holds the headings."""
        with open(self.folder / name, encoding="utf-8", newline="") as file:
            for number, cells in enumerate(csv.DictReader(file), start=2):
                if None in cells or None in cells.values():
                    raise BadFile(f"{name}, row {number}, has not as many cells as there are headings.")
                yield Row(name, number, {key: value.strip() for key, value in cells.items()}, self.made_on)

    def facts(self, name: str) -> dict[str, Any]:
        """Return the facts of a TOML file."""
        with open(self.folder / name, "rb") as file:
            return tomllib.load(file, parse_float=Decimal)
