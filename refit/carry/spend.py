"""Spend as people read it: rows with their systems, jobs and suppliers, and the whole report for a workbook.

Decides which rows there are and how they are named. What counts as spent, `buying.spend` decides; how a workbook
looks, `reports.spend`. `Still to buy` is all that is not ordered yet: orders not placed, parts wanted that have a
price or a guess, and estimates. `Forecast` is what was ordered and what is still to buy; `Over or under` is the
forecast less the budget: over is positive. A budget is for the whole system: where a filter leaves out some of its
lines, the budget stays as it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from refit.boat.identity import identity
from refit.boat.models import Boat, System
from refit.buying import spend
from refit.buying.forecast import Piece, by
from refit.buying.models import CreditKind, Line, Supplier
from refit.buying.spend import Fact, Filters, Money
from refit.carry import ending
from refit.carry.sold import given
from refit.reports.spend import (
    JobRow,
    LineRow,
    MoneyRow,
    MonthRow,
    SpendReport,
    SupplierRow,
    SystemRow,
)
from refit.work.models import Job

NO_SYSTEM = "no system yet"
PRICE_PLACES = Decimal("0.000001")
# What of a refund takes off the charges of a line, not its goods.
OF_CHARGES = (CreditKind.FREIGHT, CreditKind.TAX, CreditKind.RETURNABLE)


@dataclass(frozen=True)
class SystemSpend:
    """What one system has cost against its budget; None where no budget was set."""

    system: System
    budget: int | None
    money: Money
    to_come: int = 0

    @property
    def forecast(self) -> int:
        return self.money.ordered + self.to_come

    @property
    def over(self) -> int:
        """Return how far the forecast lies over the budget; under it is negative."""
        return self.forecast - (self.budget or 0)


@dataclass(frozen=True)
class JobSpend:
    """What one job has cost; None gathers what belongs to no job."""

    job: Job | None
    money: Money
    to_come: int = 0


@dataclass(frozen=True)
class SupplierSpend:
    """What went to one supplier; None gathers what has none yet."""

    supplier: Supplier | None
    money: Money
    to_come: int = 0


def narrowed(filters: Filters) -> bool:
    """Say whether a filter leaves out some lines of a system, so that its budget can't be set against them."""
    return bool(filters.since or filters.until or filters.job or filters.no_job or filters.supplier)


def by_system(
    boat: Boat, filters: Filters, facts: list[Fact], on: date, coming: Sequence[Piece] = ()
) -> list[SystemSpend]:
    """Return the systems with their budgets: all in use, or under a narrowing filter those with money.

    What is to come and has no system yet stands in a row of its own, at the end.
    """
    money, budgets = spend.totals(facts, "system"), spend.budgets(boat, on)
    to_come = _to_come(coming, "system")
    found = []
    for system in spend.systems(boat):
        left_out = (filters.group and system.group != filters.group) or (
            filters.system and system.pk != filters.system
        )
        idle = system.pk not in {*money, *to_come} and (
            narrowed(filters) or (system.retired_at and not budgets.get(system.pk))
        )
        if not left_out and not idle:
            found.append(
                SystemSpend(
                    system,
                    budgets.get(system.pk),
                    money.get(system.pk, Money()),
                    to_come.get(system.pk, 0),
                )
            )
    if None in to_come:
        nowhere = System(boat=boat, name=NO_SYSTEM, of_the_boat=False)
        found.append(SystemSpend(nowhere, None, Money(), to_come[None]))
    return found


def _to_come(coming: Sequence[Piece], name: str) -> dict[int | None, int]:
    return {key: sums.to_come for key, sums in by(coming, name).items()}


def by_job(boat: Boat, facts: list[Fact], coming: Sequence[Piece] = ()) -> list[JobSpend]:
    """Return the jobs that money went or will go to, by number; what belongs to no job comes last."""
    money, to_come = spend.totals(facts, "job"), _to_come(coming, "job")
    there = {*money, *to_come}
    jobs = Job.objects.filter(boat=boat).select_related("system").order_by("number")
    found = [
        JobSpend(job, money.get(job.pk, Money()), to_come.get(job.pk, 0)) for job in jobs if job.pk in there
    ]
    if None in there:
        found.append(JobSpend(None, money.get(None, Money()), to_come.get(None, 0)))
    return found


def by_supplier(boat: Boat, facts: list[Fact], coming: Sequence[Piece] = ()) -> list[SupplierSpend]:
    """Return the suppliers that money went or will go to, by name; what has no supplier yet comes last."""
    money, to_come = spend.totals(facts, "supplier"), _to_come(coming, "supplier")
    there = {*money, *to_come}
    suppliers = Supplier.objects.filter(boat=boat).order_by("name")
    found = [
        SupplierSpend(row, money.get(row.pk, Money()), to_come.get(row.pk, 0))
        for row in suppliers
        if row.pk in there
    ]
    return [*found, SupplierSpend(None, Money(), to_come[None])] if None in to_come else found


def report(boat: Boat, filters: Filters, *, on: date, words: str = "") -> SpendReport:
    """Return everything that the workbook holds, under the filters; `words` says the filters for its reader."""
    facts = spend.facts(boat, filters)
    coming = ending.coming(boat, filters, on)
    return SpendReport(
        identity=identity(boat),
        currency=boat.currency,
        as_at=on,
        systems=[
            SystemRow(
                row.system.name,
                row.system.get_group_display(),
                row.budget,
                _sums(row.money, row.to_come),
                row.over,
            )
            for row in by_system(boat, filters, facts, on, coming)
        ],
        jobs=[JobRow(_named(row.job), _sums(row.money, row.to_come)) for row in by_job(boat, facts, coming)],
        suppliers=[
            SupplierRow(row.supplier.name if row.supplier else None, _sums(row.money, row.to_come))
            for row in by_supplier(boat, facts, coming)
        ],
        months=[
            MonthRow(month, money.ordered, money.delivered, money.paid)
            for month, money in spend.by_month(boat, facts).items()
        ],
        lines=_lines(boat, filters),
        filters=words,
        given=given(boat, filters),
    )


def _sums(money: Money, to_come: int) -> MoneyRow:
    return MoneyRow(
        ordered=money.ordered,
        delivered=money.delivered,
        paid=money.paid,
        still_to_buy=to_come,
        forecast=money.ordered + to_come,
    )


def _named(job: Job | None) -> str | None:
    return f"{job.number} {job.title}" if job else None


def _lines(boat: Boat, filters: Filters) -> list[LineRow]:
    """Return each line on its day of ordering, and each refund as a row of its own on the day it came."""
    rows = list(
        spend.lines(boat, filters)
        .select_related("boat", "order__supplier", "system", "job", "part", "place")
        .order_by("order__ordered_on", "order__number", "position")
    )
    numbers = spend.part_numbers(boat, {row.part_id for row in rows if row.part_id})
    by_pk = {row.pk: row for row in rows}
    found = [_line(row, numbers.get(row.part_id or 0, "")) for row in rows]
    for back in spend.refunds(boat):
        if line := by_pk.get(back.line):
            found.append(_refund(back, line, numbers.get(line.part_id or 0, "")))
    # Sorting keeps the order of what happened on the same day: lines first, then what came back.
    return sorted(found, key=lambda row: row.date or date.min)


def _refund(back: spend.Back, line: Line, number: str) -> LineRow:
    return LineRow(
        date=back.day,
        order=str(line.order.number),
        supplier=line.order.supplier.name,
        system=line.system.name if line.system else "",
        job=_named(line.job),
        part_number=number,
        description=f"{back.words}: {line.what}",
        quantity=None,
        unit="",
        currency=line.boat.currency,
        unit_price=None,
        # What came back of freight, duty or a deposit takes off the charges; all else takes off the goods.
        goods=0 if back.kind in OF_CHARGES else -back.home,
        landed=-back.home,
        state="refund",
        locker="",
    )


def _line(line: Line, number: str) -> LineRow:
    return LineRow(
        date=line.order.ordered_on,
        order=str(line.order.number),
        supplier=line.order.supplier.name,
        system=line.system.name if line.system else "",
        job=_named(line.job),
        part_number=number,
        description=line.what,
        quantity=line.wanted,
        unit=line.get_unit_display(),
        currency=line.order.currency,
        # The price of one of the unit beside it: 95.00 a coil of 100 m is 0.95 a metre.
        unit_price=(line.unit_price / line.pack_size).quantize(PRICE_PLACES),
        goods=line.goods,
        landed=line.landed,
        state=line.state_words,
        locker=line.place.plate if line.place else "",
    )
