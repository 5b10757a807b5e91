"""Spend as people read it: rows with their systems, jobs and suppliers, and the whole report for a workbook.

Decides which rows there are and how they are named. What counts as spent, `buying.spend` decides; how a workbook
looks, `reports.spend`. `Over or under` is what was ordered less the budget: over is positive. A budget is for the
whole system: where a filter leaves out some of its lines, the budget stays as it is.

In this version nothing forecasts yet: Still to buy and Forecast are nought.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from refit.boat.identity import identity
from refit.boat.models import Boat, System
from refit.buying import spend
from refit.buying.models import Line, Supplier
from refit.buying.spend import Fact, Filters, Money
from refit.reports.spend import JobRow, LineRow, MoneyRow, MonthRow, SpendReport, SupplierRow, SystemRow
from refit.work.models import Job

PRICE_PLACES = Decimal("0.000001")


@dataclass(frozen=True)
class SystemSpend:
    """What one system has cost against its budget; None where no budget was set."""

    system: System
    budget: int | None
    money: Money

    @property
    def left(self) -> int:
        """Return what is left of the budget; below nought it is overspent."""
        return (self.budget or 0) - self.money.ordered


@dataclass(frozen=True)
class JobSpend:
    """What one job has cost; None gathers what belongs to no job."""

    job: Job | None
    money: Money


@dataclass(frozen=True)
class SupplierSpend:
    """What went to one supplier."""

    supplier: Supplier
    money: Money


def narrowed(filters: Filters) -> bool:
    """Say whether a filter leaves out some lines of a system, so that its budget can't be set against them."""
    return bool(filters.since or filters.until or filters.job or filters.no_job or filters.supplier)


def by_system(boat: Boat, filters: Filters, facts: list[Fact], on: date) -> list[SystemSpend]:
    """Return the systems with their budgets: all in use, or under a narrowing filter those with money."""
    money, budgets = spend.totals(facts, "system"), spend.budgets(boat, on)
    found = []
    for system in spend.systems(boat):
        left_out = (filters.group and system.group != filters.group) or (
            filters.system and system.pk != filters.system
        )
        idle = system.pk not in money and (
            narrowed(filters) or (system.retired_at and not budgets.get(system.pk))
        )
        if not left_out and not idle:
            found.append(SystemSpend(system, budgets.get(system.pk), money.get(system.pk, Money())))
    return found


def by_job(boat: Boat, facts: list[Fact]) -> list[JobSpend]:
    """Return the jobs that money went to, by number; what belongs to no job comes last."""
    money = spend.totals(facts, "job")
    jobs = Job.objects.filter(boat=boat).select_related("system").order_by("number")
    found = [JobSpend(job, money[job.pk]) for job in jobs if job.pk in money]
    return [*found, JobSpend(None, money[None])] if None in money else found


def by_supplier(boat: Boat, facts: list[Fact]) -> list[SupplierSpend]:
    """Return the suppliers that money went to, by name."""
    money = spend.totals(facts, "supplier")
    suppliers = Supplier.objects.filter(boat=boat).order_by("name")
    return [SupplierSpend(row, money[row.pk]) for row in suppliers if row.pk in money]


def report(boat: Boat, filters: Filters, *, on: date, words: str = "") -> SpendReport:
    """Return everything that the workbook holds, under the filters; `words` says the filters for its reader."""
    facts = spend.facts(boat, filters)
    return SpendReport(
        identity=identity(boat),
        currency=boat.currency,
        as_at=on,
        systems=[
            SystemRow(
                row.system.name, row.system.get_group_display(), row.budget, _sums(row.money), -row.left
            )
            for row in by_system(boat, filters, facts, on)
        ],
        jobs=[JobRow(_named(row.job), _sums(row.money)) for row in by_job(boat, facts)],
        suppliers=[SupplierRow(row.supplier.name, _sums(row.money)) for row in by_supplier(boat, facts)],
        months=[
            MonthRow(month, money.ordered, money.delivered, money.paid)
            for month, money in spend.by_month(boat, facts).items()
        ],
        lines=_lines(boat, filters),
        filters=words,
    )


def _sums(money: Money) -> MoneyRow:
    return MoneyRow(ordered=money.ordered, delivered=money.delivered, paid=money.paid)


def _named(job: Job | None) -> str | None:
    return f"{job.number} {job.title}" if job else None


def _lines(boat: Boat, filters: Filters) -> list[LineRow]:
    rows = list(
        spend.lines(boat, filters)
        .select_related("order__supplier", "system", "job", "part", "place")
        .order_by("order__ordered_on", "order__number", "position")
    )
    numbers = spend.part_numbers(boat, {row.part_id for row in rows if row.part_id})
    return [_line(row, numbers.get(row.part_id or 0, "")) for row in rows]


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
