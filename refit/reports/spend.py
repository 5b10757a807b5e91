"""Spend as a workbook: by system, job, supplier and month, and the lines that prove it.

Decides the sheets, headings and totals that the export promises. Does not decide what counts as spent: the
rows come ready, in whole minor units of the boat's currency.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from refit.reports.workbook import Bars, Column, Kind, Sheet, price_in, workbook

TOTAL = "Total"
NO_JOB = "no job"
NO_SUPPLIER = "no supplier"


@dataclass(frozen=True)
class MoneyRow:
    """Hold the sums that every view of the spend shares, net of refunds, in minor units."""

    ordered: int = 0
    delivered: int = 0
    paid: int = 0
    still_to_buy: int = 0
    forecast: int = 0


@dataclass(frozen=True)
class SystemRow:
    """Hold one system; over is positive, under negative."""

    system: str
    group: str
    budget: int | None
    money: MoneyRow
    over_or_under: int


@dataclass(frozen=True)
class JobRow:
    """Hold one job as people call it; None gathers what belongs to no job."""

    job: str | None
    money: MoneyRow


@dataclass(frozen=True)
class SupplierRow:
    """Hold one supplier; None gathers what has none yet."""

    supplier: str | None
    money: MoneyRow


@dataclass(frozen=True)
class MonthRow:
    """Hold one month as text, `2026-03`."""

    month: str
    ordered: int = 0
    delivered: int = 0
    paid: int = 0


@dataclass(frozen=True)
class LineRow:
    """Hold one order line or refund: price in the order's currency, the sums in the boat's minor units.

    A refund has no quantity and no price; its money is negative.
    """

    date: date | None
    order: str
    supplier: str
    system: str
    job: str | None
    part_number: str
    description: str
    quantity: Decimal | None
    unit: str
    currency: str
    unit_price: Decimal | None
    goods: int
    landed: int
    state: str
    locker: str

    @property
    def charges(self) -> int:
        """Return what freight, duty and the rest added: never anything but landed less goods."""
        return self.landed - self.goods


@dataclass(frozen=True)
class GivenRow:
    """Hold what left the boat (what was got for it), or came as a gift or second-hand (what it is worth)."""

    date: date | None
    how: str
    what: str
    part_number: str
    system: str
    whom: str
    got: int
    worth: int
    note: str


@dataclass(frozen=True)
class SpendReport:
    """Hold the whole export. `filters` says in words what was left out; empty when nothing was."""

    identity: tuple[str, ...]
    currency: str
    as_at: date
    systems: Sequence[SystemRow]
    jobs: Sequence[JobRow]
    suppliers: Sequence[SupplierRow]
    months: Sequence[MonthRow]
    lines: Sequence[LineRow]
    filters: str = ""
    given: Sequence[GivenRow] = ()


def spend_workbook(report: SpendReport) -> bytes:
    """Write the spend as an xlsx file; the last row of each sheet is its total."""
    sheets = [
        _by_system(report),
        _by("By job", "Job", [(row.job or NO_JOB, row.money) for row in report.jobs], report.filters),
        _by(
            "By supplier",
            "Supplier",
            [(row.supplier or NO_SUPPLIER, row.money) for row in report.suppliers],
            report.filters,
        ),
        _by_month(report),
        _lines(report),
        _given(report),
    ]
    return workbook(
        sheets,
        report.currency,
        title="Spend",
        identity=report.identity,
        as_at=report.as_at,
        subject=report.filters,
    )


def _money(*headings: str) -> list[Column]:
    return [Column(heading, Kind.MONEY) for heading in headings]


def _sums(money: MoneyRow) -> list[int]:
    return [money.ordered, money.delivered, money.paid, money.still_to_buy, money.forecast]


def _added(rows: Sequence[Sequence[int]], width: int) -> list[int]:
    return [sum(row[at] for row in rows) for at in range(width)]


def _by_system(report: SpendReport) -> Sheet:
    sums = [[row.budget or 0, *_sums(row.money), row.over_or_under] for row in report.systems]
    return Sheet(
        "By system",
        [
            Column("System"),
            Column("Group"),
            *_money("Budget", "Ordered", "Delivered", "Paid", "Still to buy", "Forecast", "Over or under"),
        ],
        [[row.system, row.group, *line] for row, line in zip(report.systems, sums, strict=True)],
        total=[TOTAL, None, *_added(sums, 7)],
        bars=Bars("Ordered against budget", "System", ("Budget", "Ordered")),
        note=report.filters,
    )


def _by(title: str, heading: str, rows: Sequence[tuple[str, MoneyRow]], filters: str) -> Sheet:
    sums = [_sums(money) for _, money in rows]
    return Sheet(
        title,
        [Column(heading), *_money("Ordered", "Delivered", "Paid", "Still to buy", "Forecast")],
        [[label, *line] for (label, _), line in zip(rows, sums, strict=True)],
        total=[TOTAL, *_added(sums, 5)],
        note=filters,
    )


def _by_month(report: SpendReport) -> Sheet:
    sums = [[row.ordered, row.delivered, row.paid] for row in report.months]
    return Sheet(
        "By month",
        [Column("Month", width=14), *_money("Ordered", "Delivered", "Paid")],
        [[row.month, *line] for row, line in zip(report.months, sums, strict=True)],
        total=[TOTAL, *_added(sums, 3)],
        note=report.filters,
    )


def _lines(report: SpendReport) -> Sheet:
    sums = [[row.goods, row.charges, row.landed] for row in report.lines]
    return Sheet(
        "Lines",
        [
            Column("Date", Kind.DATE),
            Column("Order"),
            Column("Supplier"),
            Column("System"),
            Column("Job"),
            Column("Part number"),
            Column("Description"),
            Column("Quantity", Kind.NUMBER),
            Column("Unit"),
            Column("Currency"),
            Column("Unit price", Kind.PRICE),
            *_money("Goods", "Charges", "Landed"),
            Column("State"),
            Column("Locker"),
        ],
        [
            [
                *(row.date, row.order, row.supplier, row.system, row.job or NO_JOB),
                *(row.part_number, row.description, row.quantity, row.unit, row.currency),
                None if row.unit_price is None else price_in(row.unit_price, row.currency),
                *line,
                *(row.state, row.locker),
            ]
            for row, line in zip(report.lines, sums, strict=True)
        ],
        total=[TOTAL, *[None] * 10, *_added(sums, 3), None, None],
        note=report.filters,
    )


def _given(report: SpendReport) -> Sheet:
    """Return what stands outside Ordered: sold, given away and bartered, and gifts and second-hand gear."""
    sums = [[row.got, row.worth] for row in report.given]
    return Sheet(
        "Sold and given",
        [
            Column("Date", Kind.DATE),
            Column("What became of it"),
            Column("Description"),
            Column("Part number"),
            Column("System"),
            Column("To or from whom"),
            *_money("Got for it", "Worth"),
            Column("Note"),
        ],
        [
            [row.date, row.how, row.what, row.part_number, row.system, row.whom, *line, row.note]
            for row, line in zip(report.given, sums, strict=True)
        ],
        total=[TOTAL, *[None] * 5, *_added(sums, 2), None],
        note=report.filters,
    )
