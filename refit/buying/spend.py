"""What the refit has cost: the same money by system, by job, by supplier and by month.

Every sum is taken from the same set of lines, so that systems, jobs (with "no job"), suppliers and months add up
to the same total. Ordered counts by the day of ordering, Delivered by the day of arrival, Paid by the day of
payment. What is not ordered yet, or was cancelled before it arrived, is in no sum.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet, Sum

from refit.boat.models import Boat, Budget, System
from refit.buying.models import DeliveryLine, Line, PaymentSplit
from refit.calc.money import allocate
from refit.stores.models import NumberKind, PartNumber


@dataclass(frozen=True)
class Filters:
    """What spend is narrowed to; all of them together. Days are days of ordering."""

    since: date | None = None
    until: date | None = None
    job: int | None = None
    no_job: bool = False
    supplier: int | None = None
    group: str = ""
    system: int | None = None

    @property
    def any(self) -> bool:
        return self != Filters()


@dataclass
class Money:
    """Ordered, arrived and paid, in minor units of the boat's currency."""

    ordered: int = 0
    delivered: int = 0
    paid: int = 0

    def add(self, other: "Money") -> None:
        """Add another to this one."""
        self.ordered += other.ordered
        self.delivered += other.delivered
        self.paid += other.paid


@dataclass(frozen=True)
class Fact:
    """One line's money, and what it is counted under."""

    line: int
    order: int
    system: int
    job: int | None
    supplier: int
    month: str
    ordered: int
    delivered: int
    paid: int


def lines(boat: Boat, filters: Filters) -> "QuerySet[Line]":
    """Return the lines that stand in sums, under the filters."""
    found = Line.objects.filter(boat=boat, counted=True)
    conditions = Q()
    if filters.since:
        conditions &= Q(order__ordered_on__gte=filters.since)
    if filters.until:
        conditions &= Q(order__ordered_on__lte=filters.until)
    if filters.job:
        conditions &= Q(job_id=filters.job)
    if filters.no_job:
        conditions &= Q(job=None)
    if filters.supplier:
        conditions &= Q(order__supplier_id=filters.supplier)
    if filters.group:
        conditions &= Q(system__group=filters.group)
    if filters.system:
        conditions &= Q(system_id=filters.system)
    return found.filter(conditions)


def facts(boat: Boat, filters: Filters) -> list[Fact]:
    """Return each line's money; what was paid on an order falls on its lines by their landed cost."""
    rows = list(
        lines(boat, filters)
        .order_by("order__ordered_on", "order__number", "position")
        .values_list(
            "id",
            "order_id",
            "system_id",
            "job_id",
            "order__supplier_id",
            "order__ordered_on",
            "landed",
            "delivered",
        )
    )
    paid = _paid(boat)
    return [
        Fact(pk, order, system, job, supplier, f"{day:%Y-%m}", landed, delivered, paid.get(pk, 0))
        for pk, order, system, job, supplier, day, landed, delivered in rows
    ]


def _paid(boat: Boat) -> dict[int, int]:
    """Return what was paid for each line: an order's payments, shared over all of its lines."""
    # No list of ids goes to the database: a long season has more orders than a query takes.
    splits = PaymentSplit.objects.filter(boat=boat)
    sums = dict(splits.order_by().values_list("order_id").annotate(total=Sum("amount")))
    weights: dict[int, list[tuple[int, int]]] = defaultdict(list)
    counted = Line.objects.filter(boat=boat, counted=True, order__in=splits.values("order"))
    for order, pk, landed in counted.order_by("position").values_list("order_id", "id", "landed"):
        weights[order].append((pk, max(landed, 0)))
    found: dict[int, int] = {}
    for order, total in sums.items():
        shares = allocate(total, [landed for _, landed in weights[order]]) if weights[order] else []
        found.update(zip([pk for pk, _ in weights[order]], shares, strict=True))
    return found


def totals(rows: list[Fact], by: str) -> dict[Any, Money]:
    """Return the money by `system`, `job` or `supplier`."""
    found: dict[Any, Money] = defaultdict(Money)
    for fact in rows:
        found[getattr(fact, by)].add(Money(fact.ordered, fact.delivered, fact.paid))
    return dict(found)


def by_month(boat: Boat, rows: list[Fact]) -> dict[str, Money]:
    """Return the money by month: ordered, arrived and paid each in the month in which it happened."""
    found: dict[str, Money] = defaultdict(Money)
    wanted = {fact.line: fact for fact in rows}
    for fact in rows:
        found[fact.month].ordered += fact.ordered
    deliveries = DeliveryLine.objects.filter(
        boat=boat, delivery__undone_at=None, line__counted=True
    ).values_list("line_id", "delivery__arrived_on", "value")
    for line, day, value in deliveries:
        if line in wanted and value:
            found[f"{day:%Y-%m}"].delivered += value
    for month, amount in _paid_by_month(boat, rows).items():
        found[month].paid += amount
    return dict(sorted(found.items()))


def _paid_by_month(boat: Boat, rows: list[Fact]) -> dict[str, int]:
    """Return what was paid in each month of the lines given; together it is what they have as paid."""
    orders: dict[int, int] = defaultdict(int)
    for fact in rows:
        orders[fact.order] += fact.paid
    found: dict[str, int] = defaultdict(int)
    splits: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for order, day, amount in (
        PaymentSplit.objects.filter(boat=boat)
        .order_by("payment__paid_on", "id")
        .values_list("order_id", "payment__paid_on", "amount")
    ):
        splits[order].append((f"{day:%Y-%m}", amount))
    for order, amount in orders.items():
        shares = allocate(amount, [max(part, 0) for _, part in splits[order]])
        for (month, _), part in zip(splits[order], shares, strict=True):
            found[month] += part
    return found


def budgets(boat: Boat, on: date) -> dict[int, int]:
    """Return each system's budget as it stands on a day (minor units)."""
    found: dict[int, int] = {}
    for system, amount in (
        Budget.objects.filter(boat=boat, set_on__lte=on)
        .order_by("set_on", "id")
        .values_list("system_id", "amount")
    ):
        found[system] = amount
    return found


def systems(boat: Boat) -> list[System]:
    """Return the boat's systems in the order of their groups."""
    return list(System.objects.filter(boat=boat).order_by("group", "name"))


def part_numbers(boat: Boat, parts: set[int]) -> dict[int, str]:
    """Return the first number of each part that is not a barcode."""
    found: dict[int, str] = {}
    numbers = PartNumber.objects.filter(boat=boat).exclude(kind=NumberKind.GTIN)
    for part, number in numbers.order_by("-id").values_list("part_id", "number"):
        if part in parts:
            found[part] = number
    return found
