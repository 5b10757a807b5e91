"""200 faults of many kinds, sown over a workbook of every kind of row: each is named by its cell, nobody else is.

The workbook is right before; each fault spoils one cell of one row. Sown by a fixed seed.
"""

import random
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from refit.boat.models import Location, System
from refit.buying.models import Line, Order, Supplier
from refit.carry.importing.check import check
from refit.carry.importing.files import faults_file
from refit.carry.importing.guess import guess
from refit.carry.importing.write import write
from refit.carry.sheets.book import letter
from refit.carry.sheets.read import read
from refit.stores.models import Holding, Part
from refit.work.models import Job
from tests.carry.books import rows_of, xlsx

pytestmark = pytest.mark.usefixtures("clean_ledger")
TABLES = (Supplier, Location, Part, Holding, Job, System, Order, Line)
FUTURE = date(2099, 1, 1)
NUMBERS = ("a few", "12 apples", "1e3", "#REF!", "(45.00", "1,23,4", -2)

HEADS = {
    "Suppliers": ["Supplier", "Web address", "Currency", "Note"],
    "Places": ["Mark", "Name", "In", "Kind"],
    "Parts": ["Part", "Part number", "Barcode", "Unit", "Least to carry", "Weight of one, kg", "Kept"],
    "Stock": ["Place", "Part", "Quantity", "Good until"],
    "Jobs": ["Title", "System", "State", "To be done", "Done on"],
    "Orders": ["Order no", "Shop", "Date", "Currency", "Item", "Qty", "Price", "Category", "Freight"],
}  # fmt: skip

# What may be wrong in a cell: the column's heading, and what stands there instead of what is right.
WRONG: dict[str, list[tuple[str, Any]]] = {
    "Suppliers": [("Supplier", None), ("Supplier", "N" * 81), ("Currency", "XXQ"), ("Currency", "pounds or so")],
    "Places": [("In", "Nowhere at all"), ("Kind", "treehouse"), ("Name", "x" * 81)],
    "Parts": [
        ("Barcode", "4006381333932"), ("Unit", "furlong"), ("Kept", "carefully"), ("Part", "P" * 121),
        *[("Least to carry", word) for word in NUMBERS], *[("Weight of one, kg", word) for word in NUMBERS],
    ],
    "Stock": [
        ("Quantity", 1.5), ("Part", None), ("Good until", "13/45"), ("Good until", "soon"),
        *[("Quantity", word) for word in NUMBERS],
    ],
    "Jobs": [
        ("Title", None), ("System", None), ("State", "magic"), ("To be done", "whenever"), ("Done on", FUTURE),
        ("Done on", "31.2.2025"), ("Title", "T" * 121),
    ],
    "Orders": [
        ("Shop", None), ("Shop", "S" * 81), ("Date", None), ("Date", "soon"), ("Date", FUTURE), ("Date", "1.1.1850"),
        ("Currency", "XXQ"), ("Item", None), ("Item", "I" * 201), ("Qty", 0), ("Qty", 1.2345), ("Qty", 10**7),
        ("Price", None), ("Price", 10**11), ("Price", "4 XXX"), ("Category", None), ("Category", "Enginne"),
        ("Freight", "dear"), *[(column, word) for column in ("Qty", "Price") for word in NUMBERS[:6]],
    ],
}  # fmt: skip


def right() -> dict[str, list[list[Any]]]:
    """Return rows of every kind that are all right."""
    first = date(2024, 1, 2)
    return {
        "Suppliers": [[f"Shop {at}", f"shop{at}.example", "GBP", f"Note {at}"] for at in range(60)],
        "Places": [[f"S{at}", f"Shelf {at}", "Saloon", "Locker"] for at in range(60)],
        "Parts": [
            [f"Part {at}", f"PN-{at}", None, "each", at % 4, 0.25, "counted"] for at in range(120)
        ],
        "Stock": [[f"S{at % 60}", f"Part {at}", 1 + at % 5, "03/2030"] for at in range(120)],
        "Jobs": [[f"Job {at}", "Engine", "done", "Before launch", first + timedelta(at)] for at in range(80)],
        "Orders": [
            [f"N-{at // 2}", f"Shop {at // 2 % 60}", first + timedelta(at // 2), "GBP", f"Thing {at}",
             1 + at % 4, 2.5, "Engine", 3.5 if at % 2 == 0 else None]
            for at in range(500)
        ],
    }  # fmt: skip


OF_THE_ORDER = ("Shop", "Date", "Currency", "Freight")


@dataclass(frozen=True)
class Sown:
    """A fault that was sown: where, and what stands there."""

    title: str
    column: str
    row: int
    heading: str
    value: str


def sow(count: int) -> tuple[dict[str, list[list[Any]]], list[Sown]]:
    """Spoil so many rows, one cell of each; every kind of fault at least once, of an order one row at most."""
    chance, sheets = random.Random(11), right()
    kinds = [(title, *wrong) for title, some in WRONG.items() for wrong in some]
    free = {title: chance.sample(range(len(rows)), len(rows)) for title, rows in sheets.items()}
    free["Orders"] = [at * 2 + chance.randrange(2) for at in chance.sample(range(250), 250)]
    sown = []
    for at in range(count):
        title, heading, value = kinds[at] if at < len(kinds) else chance.choice(kinds)
        place, column = free[title].pop(), HEADS[title].index(heading)
        if title == "Orders" and heading in OF_THE_ORDER:
            place -= place % 2  # a second line may leave out what its order's first line says
        sheets[title][place][column] = value
        sown.append(Sown(title, letter(column), place + 2, heading, "" if value is None else str(value)))
    return sheets, sown


def book_of(sheets: dict[str, list[list[Any]]]) -> bytes:
    return xlsx({title: [HEADS[title], *rows] for title, rows in sheets.items()})


def counts() -> list[int]:
    return [table.objects.count() for table in TABLES]


def test_the_workbook_is_right_before_a_fault_is_sown(make):
    book = read(book_of(right()), "old.xlsx")
    done = check(make.boat, book, guess(book), make.today)
    assert [str(fault) for fault in done.faults] == []
    assert (done.new, done.faulty) == (60 + 60 + 120 + 120 + 80 + 500, 0)


def test_two_hundred_faults_are_each_named_by_sheet_row_column_and_value(make):
    """And no right row is blamed; the other line of a spoilt order waits with it, and says for which cell."""
    sheets, sown = sow(200)
    assert len({(fault.title, fault.row) for fault in sown}) == 200
    assert {fault.title for fault in sown} == set(HEADS)
    before = counts()
    book = read(book_of(sheets), "old.xlsx")
    done = check(make.boat, book, guess(book), make.today)
    named = {(f.title, f.column, f.row, f.heading, f.value) for f in done.faults}
    assert named == {(s.title, s.column, s.row, s.heading, s.value) for s in sown}
    assert len(done.faults) == 200
    assert all(fault.why for fault in done.faults)
    orders = {f.row: f.column for f in sown if f.title == "Orders"}
    others = {row + 1 if row % 2 == 0 else row - 1: f"{column}{row}" for row, column in orders.items()}
    assert {along.row: along.why for along in done.along} == {
        row: f"Another row of this order is not right: {cell}." for row, cell in others.items()
    }
    assert done.faulty == 200 + len(orders)
    assert counts() == before


def test_the_rows_left_out_come_back_with_why_and_the_others_come_in(make):
    sheets, sown = sow(200)
    book = read(book_of(sheets), "old.xlsx")
    plans = guess(book)
    done = check(make.boat, book, plans, make.today)
    made = write(make.boat, done, by=make.owner, today=make.today, name="old.xlsx")
    spoilt = {title: {fault.row for fault in sown if fault.title == title} for title in HEADS}
    orders = {row // 2 for row in spoilt["Orders"]}  # rows 2 and 3 are one order
    assert (made.orders, made.lines) == (250 - len(orders), 500 - 2 * len(orders))
    assert made.jobs == 80 - len(spoilt["Jobs"])
    assert made.put_in == 120 - len(spoilt["Stock"])
    back = faults_file(make.boat, book, plans, done, make.today)
    why = {(f.title, f.row): f for f in sown}
    for title, head in HEADS.items():
        rows = rows_of(back, title)
        assert rows[0] == [*head, "Why it was left out", "Stood in"]
        expected = spoilt[title]
        if title == "Orders":
            expected = {row for order in orders for row in (order * 2, order * 2 + 1)}
        assert [row[-1] for row in rows[1:]] == [f"row {row}" for row in sorted(expected)]
        for row in rows[1:]:
            fault = why.get((title, int(row[-1].removeprefix("row "))))
            if fault is not None:
                assert row[head.index(fault.heading)] == (fault.value or None)
                assert row[-2].startswith(
                    f"{fault.heading} “{fault.value}” " if fault.value else fault.heading
                )


def test_the_command_writes_nothing_while_one_row_is_wrong(make, tmp_path, capsys):
    sheets, _ = sow(200)
    path = tmp_path / "old.xlsx"
    path.write_bytes(book_of(sheets))
    before = counts()
    with pytest.raises(CommandError, match="rows are not right; nothing was written"):
        call_command("import_sheet", make.boat.slug, str(path))
    assert counts() == before
    named = capsys.readouterr().err.splitlines()
    assert len(named) == 51
    assert named[-1] == "... and 150 more."
