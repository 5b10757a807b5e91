"""The town run on paper: what to bring from which shop, what it must fit, with a box to tick.

Decides the columns and the words. Which shop sells what, and in which order to go round, comes ready.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from refit.reports.paper import Group, Page, PaperColumn, PaperRow, Side, shown, table_pdf

TITLE = "Town run"
ANYWHERE = "Any shop"
EMPTY = "Nothing to bring from town."


@dataclass(frozen=True)
class TownRow:
    """Hold one thing to bring; size, thread and what it must fit are as they are said at the counter.

    `price` is what was paid last or asked, as text with its currency; without any price there is no column for it.
    """

    part: str
    quantity: Decimal
    unit: str
    size: str = ""
    thread: str = ""
    must_fit: str = ""
    number: str = ""
    job: str = ""
    note: str = ""
    price: str = ""
    bought: bool = False


@dataclass(frozen=True)
class Shop:
    """Hold what to bring from one shop; `words` say where it is and when it is open. No name is any shop."""

    name: str
    rows: Sequence[TownRow]
    words: str = ""


def town_pdf(
    shops: Sequence[Shop],
    *,
    identity: Sequence[str],
    as_at: date,
    title: str = TITLE,
    notes: Sequence[str] = (),
) -> bytes:
    """Write the town run as a PDF, shop after shop in the order in which they come."""
    priced = any(row.price for shop in shops for row in shop.rows)
    columns = [
        PaperColumn("Got", 10, boxes=True),
        PaperColumn("Part", 62),
        PaperColumn("Part number", 30),
        PaperColumn("How many", 18, Side.RIGHT),
        PaperColumn("Unit", 14),
        PaperColumn("Size", 26),
        PaperColumn("Thread", 24),
        PaperColumn("Must fit", 46),
        PaperColumn("For job", 42),
        *[PaperColumn("Price", 22, Side.RIGHT)] * priced,
    ]
    return table_pdf(
        title,
        identity=identity,
        as_at=as_at,
        columns=columns,
        groups=[
            Group(_heading(shop), [_printed(row, len(columns)) for row in shop.rows])
            for shop in shops
            if shop.rows
        ],
        page=Page.LANDSCAPE,
        notes=notes,
        empty=EMPTY,
    )


def _heading(shop: Shop) -> str:
    return " · ".join([shop.name or ANYWHERE, *[shop.words] * bool(shop.words)])


def _printed(row: TownRow, columns: int) -> PaperRow:
    part = f"{row.part}\n{row.note}" if row.note else row.part
    cells = ["x" if row.bought else "", part, row.number, shown(row.quantity), row.unit, row.size, row.thread]
    return PaperRow([*cells, row.must_fit, row.job, row.price][:columns])
