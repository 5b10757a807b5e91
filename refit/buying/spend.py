"""What the refit has cost: the same money by system, by job, by supplier and by month.

Every sum is taken from the same set of lines, so that systems, jobs (with "no job"), suppliers and months add up
to the same total. Ordered counts by the day of ordering, Delivered by the day of arrival, Paid by the day of
payment. What is not ordered yet, or was cancelled before it arrived, is in no sum.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet

from refit.boat.models import Boat, Budget, System
from refit.buying.models import CreditShare, DeliveryLine, Line, PaymentSplit, Share
from refit.calc.landed import delivered_value
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
    """One thing that happened to a line's money, in the month in which it happened, and what it counts under."""

    line: int
    order: int
    system: int
    job: int | None
    supplier: int
    month: str
    ordered: int = 0
    delivered: int = 0
    paid: int = 0


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
    """Return what happened to each line's money: ordered, arrived, paid, and come back.

    What was paid on an order falls on its lines by their landed cost; what was paid on a bill of another payee, on
    the lines that bear it. A refund takes off all three on its own day.
    """
    rows = list(
        lines(boat, filters)
        .order_by("order__ordered_on", "order__number", "position")
        .values_list(
            "id", "order_id", "system_id", "job_id", "order__supplier_id", "order__ordered_on", "landed"
        )
    )
    keys = {row[0]: row[:5] for row in rows}
    found = [Fact(*row[:5], _month(row[5]), ordered=row[6]) for row in rows if row[5] is not None]
    arrivals = (
        DeliveryLine.objects.filter(boat=boat, delivery__undone_at=None, line__counted=True)
        .exclude(value=0)
        .values_list("line_id", "delivery__arrived_on", "value")
    )
    found += [Fact(*keys[pk], _month(day), delivered=value) for pk, day, value in arrivals if pk in keys]
    found += [Fact(*keys[pk], _month(day), paid=part) for pk, day, part in _paid(boat) if pk in keys]
    found += [
        Fact(
            *keys[back.line], _month(back.day), ordered=-back.home, delivered=-back.delivered, paid=-back.home
        )
        for back in refunds(boat)
        if back.line in keys
    ]
    return found


def _month(day: date) -> str:
    return f"{day:%Y-%m}"


def _paid(boat: Boat) -> list[tuple[int, date, int]]:
    """Return each payment's parts by line: line, day, amount. The parts of a payment add up to it."""
    # No list of ids goes to the database: a long season has more orders than a query takes.
    weights: dict[int, list[tuple[int, int]]] = defaultdict(list)
    counted = Line.objects.filter(boat=boat, counted=True).order_by("position")
    for order, pk, landed in counted.values_list("order_id", "id", "landed"):
        weights[order].append((pk, max(landed, 0)))
    borne: dict[int, list[tuple[int, int]]] = defaultdict(list)
    shares = Share.objects.filter(boat=boat, line__counted=True, charge__payment_splits__isnull=False)
    for charge, pk, home in shares.order_by("id").distinct().values_list("charge_id", "line_id", "home"):
        borne[charge].append((pk, max(home, 0)))
    found: list[tuple[int, date, int]] = []
    splits = PaymentSplit.objects.filter(boat=boat).order_by("payment__paid_on", "id")
    for order, charge, day, amount in splits.values_list(
        "order_id", "charge_id", "payment__paid_on", "amount"
    ):
        over = weights.get(order, []) if order else borne.get(charge, [])
        parts = allocate(amount, [weight for _, weight in over]) if over else []
        found += [(pk, day, part) for (pk, _), part in zip(over, parts, strict=True) if part]
    return found


@dataclass(frozen=True)
class Back:
    """Money that came back on a line: how much, when, and how much of it is taken off what had arrived."""

    line: int
    day: date
    home: int
    delivered: int
    order: int
    words: str
    kind: str


def refunds(boat: Boat) -> list[Back]:
    """Return what came back, each on its own day, in the order in which it came."""
    rows = (
        CreditShare.objects.filter(boat=boat, credit__came_on__isnull=False, line__counted=True)
        .select_related("credit", "line")
        .order_by("credit__came_on", "id")
    )
    so_far: dict[int, int] = defaultdict(int)
    found = []
    for row in rows:
        line = row.line
        before = delivered_value(line.landed - so_far[line.pk], line.arrived, line.wanted)
        so_far[line.pk] += row.home
        after = delivered_value(line.landed - so_far[line.pk], line.arrived, line.wanted)
        day = row.credit.came_on
        if day is not None:
            words = row.credit.get_kind_display()
            kind = row.credit.kind
            found.append(Back(line.pk, day, row.home, before - after, line.order_id, words, kind))
    return found


def totals(rows: list[Fact], by: str) -> dict[Any, Money]:
    """Return the money by `system`, `job`, `supplier` or `month`."""
    found: dict[Any, Money] = defaultdict(Money)
    for fact in rows:
        found[getattr(fact, by)].add(Money(fact.ordered, fact.delivered, fact.paid))
    return dict(found)


def by_month(boat: Boat, rows: list[Fact]) -> dict[str, Money]:
    """Return the money by month: ordered, arrived, paid and come back each in the month in which it happened."""
    return dict(sorted(totals(rows, "month").items()))


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
