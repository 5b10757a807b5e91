"""Checking a whole file: every row of every sheet, against the boat and against the rest of the file.

Decides what is new, what is there already, and what is not right. Writes nothing; `write` acts on what this returns.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from refit.boat.models import Boat
from refit.carry.importing import ordered, own, purchases, things
from refit.carry.importing.cells import Fault, Line, lines_of
from refit.carry.importing.fields import ORDER
from refit.carry.importing.guess import Plan
from refit.carry.importing.world import New, World
from refit.carry.sheets.book import Book


@dataclass
class SheetCount:
    """How the rows of one sheet came out."""

    index: int
    title: str
    kind: str
    rows: int = 0
    known: int = 0
    left_out: int = 0  # rows of totals, and orders that were cancelled
    faulty: set[int] = field(default_factory=set)

    @property
    def new(self) -> int:
        return self.rows - self.known - len(self.faulty)


@dataclass
class NewStock:
    """So much of a part to be put into a place."""

    part: Any
    place: Any
    quantity: Decimal = Decimal(0)
    level: str = ""
    serial: str = ""
    expires: date | None = None


@dataclass
class Checked:
    """What checking found, and what writing will do."""

    world: World
    sheets: list[SheetCount] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    along: list[Fault] = field(default_factory=list)  # right rows of an order with a row that isn't
    notes: dict[str, int] = field(default_factory=dict)
    budgets: list[tuple[Any, int]] = field(default_factory=list)
    changed_parts: list[tuple[Any, dict[str, Any]]] = field(default_factory=list)
    stock: dict[tuple[Any, ...], NewStock] = field(default_factory=dict)
    orders: list[Any] = field(default_factory=list)
    refunds: list[Any] = field(default_factory=list)
    numbers: list[tuple[Any, tuple[str, str, str]]] = field(
        default_factory=list
    )  # more of parts that are there

    def note(self, sentence: str, count: int = 1) -> None:
        """Count something that a person should know; the sentence begins with the count."""
        self.notes[sentence] = self.notes.get(sentence, 0) + count

    @property
    def said(self) -> list[str]:
        return [f"{count:,} {sentence}" for sentence, count in self.notes.items()]

    @property
    def rows(self) -> int:
        return sum(sheet.rows for sheet in self.sheets)

    @property
    def new(self) -> int:
        return sum(sheet.new for sheet in self.sheets)

    @property
    def known(self) -> int:
        return sum(sheet.known for sheet in self.sheets)

    @property
    def faulty(self) -> int:
        return sum(len(sheet.faulty) for sheet in self.sheets)

    def made(self, kind: type) -> list[New]:
        """Return the things of a kind that will be made."""
        return self.world.new[kind]


def check(boat: Boat, book: Book, plans: Sequence[Plan], today: date) -> Checked:
    """Check every row of the sheets that have a kind."""
    done = Checked(World(boat))
    read: list[tuple[SheetCount, Plan, list[Line]]] = []
    for index, plan in enumerate(plans):
        if plan.kind:
            lines, totals = lines_of(book, index, plan)
            table = own.table_of(plan.title, plan.headings)
            lines = [line for line in lines if own.in_use(table, plan.headings, line.row.cells)]
            if table == own.ORDER_LINES and plan.kind == "orders":
                ordered.read(lines, boat.currency)
            read.append((SheetCount(index, plan.title, plan.kind, len(lines), left_out=totals), plan, lines))
    for count, plan, lines in sorted(read, key=lambda some: ORDER.index(some[1].kind)):
        if plan.kind == "orders":
            purchases.check(done, plan, lines, count, today)
        else:
            for line in things.in_order(done, lines) if plan.kind == "places" else lines:
                if not line.faults:
                    known = things.CHECKS[plan.kind](done, line, today)
                    count.known += bool(known) and not line.faults
        _gather(done, count, lines)
    done.sheets = [count for count, _, _ in read]
    out = sum(1 for plan in plans if not plan.kind and own.table_of(plan.title, plan.headings))
    if out:
        done.note(
            "sheets of “All my data” are left out, payments among them; money that came back comes in from the "
            "spend workbook.",
            out,
        )
    if not read:
        done.note("sheets hold nothing to bring in; say below what they are about.", len(plans))
    return done


def _gather(done: Checked, count: SheetCount, lines: Sequence[Line]) -> None:
    for line in lines:
        if line.faults:
            count.faulty.add(line.row.number)
            done.faults += line.faults
    count.faulty |= {fault.row for fault in done.along if fault.sheet == count.index}
    if count.left_out:
        done.note("rows of totals were left out.", count.left_out)
