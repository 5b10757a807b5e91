"""Spares on board, by system and by place, as a spreadsheet and as a sheet for the chart table.

Decides the order (short and out of date first), the words and the caution. Does not decide what counts as
aboard or how many to carry: quantities come ready, and what is out of date is never in `aboard`.
The marked date is the last good day: a thing marked 30 June is out of date on 1 July.
What is kept by level has no quantity: its level stands where the quantity would.
"""

import enum
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeVar

from refit.reports.paper import Group, Page, PaperColumn, PaperRow, Side, day, shown, table_pdf
from refit.reports.workbook import Column, Kind, Sheet, workbook

TITLE = "Spares on board"
FIRST = "See to these first: below minimum or out of date"
NOWHERE = "None aboard"
BELOW, OUT = "below minimum", "out of date"
RUNNING_OUT = ("low", "gone", "none")
CAUTION = (
    "Out of date: the date marked on it rules. With flares, fire extinguishers, gas, lifejackets and "
    "liferafts follow the maker, and the rules of your flag and of where you are. Have them serviced, "
    "or hand them in, where that is licensed; never use them up, bin them or throw them overboard."
)


T = TypeVar("T")


class By(enum.Enum):
    """Name the two ways to read the list: what a system has, or what lies in a place."""

    SYSTEM = "system"
    PLACE = "place"


@dataclass(frozen=True)
class SparePlace:
    """Hold what lies in one place aboard, in and out of date alike; the mark is what people say."""

    mark: str
    area: str
    quantity: Decimal
    expiry: date | None = None
    level: str = ""

    @property
    def amount(self) -> str:
        """Return how much lies there, in figures or as a level."""
        return self.level or shown(self.quantity)

    def out_of_date(self, as_at: date) -> bool:
        """Say whether the marked date has passed."""
        return self.expiry is not None and self.expiry < as_at


@dataclass(frozen=True)
class SpareRow:
    """Hold one spare: `aboard` is in date, `out_of_date` stands apart from it."""

    system: str
    part: str
    number: str
    aboard: Decimal
    minimum: Decimal
    unit: str
    out_of_date: Decimal
    places: tuple[SparePlace, ...]
    level: str = ""  # of what is in date, for a part that is not counted
    level_out_of_date: bool = False  # some of it lies there past its date

    @property
    def short(self) -> Decimal:
        """Return how many are missing from the minimum; nought when there are enough."""
        return max(self.minimum - self.aboard, Decimal(0))

    @property
    def state(self) -> str:
        """Return in words what is wrong; nothing when all is well."""
        level = [self.level] if self.level in RUNNING_OUT else []
        return ", ".join([BELOW] * bool(self.short) + level + [OUT] * self.has_out_of_date)

    @property
    def has_out_of_date(self) -> bool:
        """Say whether some of it is past its date."""
        return bool(self.out_of_date) or self.level_out_of_date

    @property
    def amount(self) -> str:
        """Return how much is aboard and in date, in figures or as a level."""
        return self.level or shown(self.aboard)


def spares_workbook(
    rows: Sequence[SpareRow], currency: str, *, identity: Sequence[str], as_at: date
) -> bytes:
    """Write the spares as an xlsx file, a sheet by system and a sheet by place, what is wrong first."""
    return workbook(
        [_system_sheet(rows), _place_sheet(rows, as_at)],
        currency,
        title=TITLE,
        identity=identity,
        as_at=as_at,
    )


def spares_pdf(rows: Sequence[SpareRow], by: By, *, identity: Sequence[str], as_at: date) -> bytes:
    """Write the spares as a PDF for the chart table: what is wrong first, then every spare in its group."""
    wrong = [row for row in sorted(rows, key=_worst_first) if row.state]
    lists = _by_system(rows, as_at) if by is By.SYSTEM else _by_place(rows, as_at)
    groups = [Group(FIRST, [_printed(row, f"{row.part} ({row.system})", as_at) for row in wrong]), *lists]
    return table_pdf(
        f"{TITLE}, by {by.value}",
        identity=identity,
        as_at=as_at,
        columns=[
            PaperColumn("Part", 60),
            PaperColumn("Part number", 26),
            # In a place's own group the quantity is what lies there, so it isn't called "aboard".
            PaperColumn("Aboard" if by is By.SYSTEM else "Quantity", 15, Side.RIGHT),
            PaperColumn("Minimum", 17, Side.RIGHT),
            PaperColumn("Unit", 11),
            PaperColumn("Out of date", 14, Side.RIGHT),
            PaperColumn("Where" if by is By.SYSTEM else "Date, and elsewhere", 48),
        ],
        groups=groups,
        page=Page.PORTRAIT,
        notes=[CAUTION] if any(row.has_out_of_date for row in rows) else [],
        empty="No part is marked as a spare yet.",
    )


def _worst_first(row: SpareRow) -> tuple[bool, bool, list[tuple[int, str]], list[tuple[int, str]]]:
    return not row.state, not row.short, _natural(row.system), _natural(row.part)


def _by_system(rows: Iterable[SpareRow], as_at: date) -> list[Group]:
    return _grouped(
        sorted(rows, key=lambda row: (_natural(row.system), *_worst_first(row))),
        lambda row: row.system,
        lambda row: _printed(row, row.part, as_at),
    )


def _by_place(rows: Iterable[SpareRow], as_at: date) -> list[Group]:
    lying = [(row, place) for row in rows for place in row.places]
    lying.sort(
        key=lambda pair: (_natural(pair[1].mark), pair[1].area, not pair[0].state, _natural(pair[0].part))
    )
    groups = _grouped(
        lying, lambda pair: f"{pair[1].mark} · {pair[1].area}", lambda pair: _printed_in(*pair, as_at)
    )
    missing = sorted((row for row in rows if not row.places), key=_worst_first)
    return [*groups, Group(NOWHERE, [_printed(row, row.part, as_at) for row in missing])]


def _grouped(
    items: Iterable[T], heading: Callable[[T], str], printed: Callable[[T], PaperRow]
) -> list[Group]:
    groups: dict[str, list[PaperRow]] = {}
    for item in items:
        groups.setdefault(heading(item), []).append(printed(item))
    return [Group(name, lines) for name, lines in groups.items()]


def _printed(row: SpareRow, name: str, as_at: date) -> PaperRow:
    where = "; ".join(_where(place, as_at) for place in row.places)
    return _paper_row(row, name, row.amount, row.out_of_date, where or "none aboard")


def _printed_in(row: SpareRow, place: SparePlace, as_at: date) -> PaperRow:
    """Print what lies in one place; the minimum is the boat's, so the boat's whole stock stands beside it."""
    gone = place.quantity if place.out_of_date(as_at) else Decimal(0)
    notes = [_until(place, as_at)] if place.expiry else []
    if len(row.places) > 1:
        notes.append(f"{row.amount} in the whole boat")
    return _paper_row(row, row.part, place.level or shown(place.quantity - gone), gone, ", ".join(notes))


def _paper_row(row: SpareRow, name: str, aboard: str, gone: Decimal, where: str) -> PaperRow:
    state = f"\n{row.state}" if row.state else ""
    return PaperRow(
        [
            name + state,
            row.number,
            aboard,
            "" if row.level else shown(row.minimum),
            row.unit,
            shown(gone) if gone else "",
            where,
        ],
        strong=bool(row.state),
    )


def _where(place: SparePlace, as_at: date) -> str:
    until = f", {_until(place, as_at)}" if place.expiry else ""
    return f"{place.mark} {place.area}: {place.amount}{until}"


def _until(place: SparePlace, as_at: date) -> str:
    return f"{OUT} since {day(place.expiry)}" if place.out_of_date(as_at) else f"good to {day(place.expiry)}"


def _system_sheet(rows: Sequence[SpareRow]) -> Sheet:
    return Sheet(
        "By system",
        [
            Column("System"),
            Column("Part"),
            Column("Part number"),
            Column("Aboard", Kind.NUMBER),
            Column("Minimum", Kind.NUMBER),
            Column("Short by", Kind.NUMBER),
            Column("Out of date", Kind.NUMBER),
            Column("Unit"),
            Column("Where"),
            Column("First date", Kind.DATE),
            Column("State"),
        ],
        [
            [
                *(row.system, row.part, row.number),
                *((None,) * 4 if row.level else (row.aboard, row.minimum, row.short, row.out_of_date)),
                row.unit,
                "; ".join(f"{place.mark} {place.area}: {place.amount}" for place in row.places),
                min((place.expiry for place in row.places if place.expiry), default=None),
                row.state or row.level,
            ]
            for row in sorted(rows, key=_worst_first)
        ],
    )


def _place_sheet(rows: Sequence[SpareRow], as_at: date) -> Sheet:
    lying = [(row, place) for row in rows for place in row.places]
    lying.sort(
        key=lambda pair: (not pair[0].state, _natural(pair[1].mark), pair[1].area, _natural(pair[0].part))
    )
    return Sheet(
        "By place",
        [
            Column("Place"),
            Column("Area"),
            Column("Part"),
            Column("Part number"),
            Column("System"),
            Column("Quantity here", Kind.NUMBER),
            Column("Unit"),
            Column("Date marked", Kind.DATE),
            Column("Out of date"),
            Column("State of the part"),
        ],
        [
            [
                *(place.mark, place.area, row.part, row.number, row.system),
                *(None if place.level else place.quantity, row.unit, place.expiry),
                OUT if place.out_of_date(as_at) else "",
                row.state or row.level,
            ]
            for row, place in lying
        ],
    )


def _natural(text: str) -> list[tuple[int, str]]:
    """Return a key that puts S2 before S10."""
    return [
        (int(piece), "") if piece.isdecimal() else (-1, piece.casefold())
        for piece in re.findall(r"[0-9]+|[^0-9]+", text)
    ]
