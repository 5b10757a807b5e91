"""How long a long spreadsheet takes, and how much memory; the bounds are generous, the measure is in DEVELOPERS.md."""

import time
import tracemalloc
from datetime import date, timedelta

import pytest

from refit.buying.models import Line, Order
from refit.carry.importing.check import check
from refit.carry.importing.guess import guess
from refit.carry.importing.write import write
from refit.carry.sheets.read import read
from tests.carry.books import xlsx

LINES = 3000
SECONDS = 60  # 10,000 lines took 14 s of one core
MEGABYTES = 150

HEAD = [
    "Order no",
    "Shop",
    "Date",
    "Currency",
    "Part no",
    "Item",
    "Qty",
    "Price",
    "Shipping",
    "Category",
    "Locker",
]


def season(lines: int) -> bytes:
    """Return a spreadsheet of orders with four lines each, a fifth of them in euros, half of them of parts."""
    first = date(2024, 1, 2)
    rows = [
        [
            f"R-{at // 4}", f"Shop {at // 4 % 40}", first + timedelta(days=at // 4 % 300), "EUR" if at // 4 % 5 == 0 else "GBP",
            f"PN-{at % 500}" if at % 2 else None, f"Thing {at % 500}", 1 + at % 3, round(3.5 + at % 90 * 1.07, 2),
            6.9 if at % 4 == 0 else None, ["Rig", "Engine", "Steering"][at % 3], f"S{at % 30}",
        ]
        for at in range(lines)
    ]  # fmt: skip
    return xlsx({"Purchases": [HEAD, *rows]})


@pytest.mark.usefixtures("clean_ledger")
def test_a_long_season_comes_in_within_its_time(make):
    """CPU time counts, so that a busy machine does not fail it; each step says how far it is."""
    data, said = season(LINES), []
    began = time.process_time()
    book = read(data, "season.xlsx")
    done = check(make.boat, book, guess(book), make.today)
    assert done.faults == []
    made = write(
        make.boat,
        done,
        by=make.owner,
        today=make.today,
        name="season.xlsx",
        say=lambda *word: said.append(word),
    )
    taken = time.process_time() - began
    assert (made.orders, made.lines) == (LINES // 4, LINES)
    assert (Order.objects.count(), Line.objects.count()) == (LINES // 4, LINES)
    assert [at for what, at, of in said if what == "orders"] == [0, 200, 400, 600, 750]
    assert taken < SECONDS


def test_a_long_season_is_checked_within_its_memory(make):
    data = season(LINES)
    tracemalloc.start()
    try:
        book = read(data, "season.xlsx")
        done = check(make.boat, book, guess(book), make.today)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert done.new == LINES
    assert most < MEGABYTES * 1024 * 1024
