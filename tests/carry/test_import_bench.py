"""How long a long spreadsheet takes, and how much memory: 10,000 lines under 60 s and 300 MB.

Here 2,000 lines within their part of the time; `REFIT_BENCH=1` makes it all 10,000. In a process of its own, with the
resident memory: `python -m tests.bench.import_season`.
"""

import os
import time
import tracemalloc

import pytest

from refit.buying.models import Line, Order
from refit.carry.importing.check import check
from refit.carry.importing.guess import guess
from refit.carry.importing.write import write
from refit.carry.sheets.read import read
from tests.carry.books import season

LINES = 10_000 if os.environ.get("REFIT_BENCH") else 2_000
SECONDS = 60 * LINES / 10_000
MEGABYTES = (
    150  # of Python's own; the rest of the 300 is what Django and the libraries take before anything is read
)


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
    assert [at for what, at, of in said if what == "orders"] == [*range(0, LINES // 4, 200), LINES // 4]
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
