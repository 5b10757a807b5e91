"""The list of orders: its sieve, its order, its sums and what a row says. Decides nothing about who may see it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import django_filters
from django import forms
from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum

from refit.boat.models import Boat, Location, Paper, PaperKind
from refit.buying.models import COMING_STATES, COUNTED_STATES, Line, Order, OrderPaper, OrderState, Supplier
from refit.buying.owing import of_orders
from refit.buying.reading import away_places, lying_away
from refit.calc.text import fold
from refit.pages.fields import DayField
from refit.pages.lists import Keys
from refit.reports.workbook import Column, Kind
from refit.work.models import Job

KEYS: Keys = {
    "newest": ["-number"],
    "number": ["number"],
    "supplier": ["supplier__name", "-number"],
    "ordered": ["ordered_on", "number"],
    "expected": ["expected_on", "number"],
    "job": ["job__number", "number"],
    "state": ["state", "number"],
    "landed": ["landed", "number"],
}
COLUMNS = (
    Column("Order", Kind.NUMBER),
    Column("Supplier"),
    Column("What"),
    Column("Reference"),
    Column("State"),
    Column("Ordered", Kind.DATE),
    Column("Expected", Kind.DATE),
    Column("Job"),
    Column("Currency"),
    Column("Goods", Kind.MONEY),
    Column("All in", Kind.MONEY),
    Column("Arrived", Kind.MONEY),
)
SIEVE_STATES = [
    ("coming", "Still to come"),
    ("late", "Late"),
    ("away", "Arrived away"),
    *OrderState.choices,
]
MARKS = {
    OrderState.ARRIVED: "mark-ok",
    OrderState.PART_ARRIVED: "mark-warn",
    OrderState.CANCELLED: "mark-stop",
}


class DayFilter(django_filters.Filter):
    """A day as people type it."""

    field_class = DayField


def _suppliers(request: Any) -> "QuerySet[Supplier]":
    return Supplier.objects.filter(boat=request.boat)


def _jobs(request: Any) -> "QuerySet[Job]":
    return Job.objects.filter(boat=request.boat, lines__isnull=False).distinct()


class OrderSieve(django_filters.FilterSet):
    """What the list of orders may be narrowed to."""

    find = django_filters.CharFilter(
        method="look_for",
        label="Find",
        max_length=100,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    state = django_filters.ChoiceFilter(
        choices=SIEVE_STATES, method="in_state", label="State", empty_label="Any"
    )
    supplier = django_filters.ModelChoiceFilter(queryset=_suppliers, label="Supplier", empty_label="Any")
    job = django_filters.ModelChoiceFilter(
        queryset=_jobs, method="for_job", label="For job", empty_label="Any"
    )
    receipt = django_filters.ChoiceFilter(
        choices=[("none", "No receipt"), ("kept", "With a receipt")],
        method="with_receipt",
        label="Receipt",
        empty_label="Any",
    )
    since = DayFilter(field_name="ordered_on", lookup_expr="gte", label="Ordered from")
    until = DayFilter(field_name="ordered_on", lookup_expr="lte", label="Ordered to")

    class Meta:
        model = Order
        fields: list[str] = []

    def look_for(self, rows: "QuerySet[Order]", name: str, text: str) -> "QuerySet[Order]":
        """Return the orders with the text in number, reference, supplier or what was ordered."""
        folded = fold(text)
        lines = Line.objects.filter(order=OuterRef("pk"))
        what = lines.filter(Q(words__icontains=text) | Q(part__search__contains=folded))
        either = Q(reference__icontains=text) | Q(Exists(what))
        if folded:
            either |= Q(supplier__folded__contains=folded)
        if text.isascii() and text.isdigit() and len(text) < 10:
            either |= Q(number=int(text))
        return rows.filter(either)

    def in_state(self, rows: "QuerySet[Order]", name: str, state: str) -> "QuerySet[Order]":
        """Return the orders in a state, or those still to come, late, or come no further than away."""
        if state == "coming":
            return rows.filter(state__in=COMING_STATES)
        if state == "late":
            return rows.filter(state__in=COMING_STATES, expected_on__lt=self.request.today)
        if state == "away":
            return rows.filter(pk__in=lying_away(self.request.boat).values("line__order"))
        return rows.filter(state=state)

    def with_receipt(self, rows: "QuerySet[Order]", name: str, kept: str) -> "QuerySet[Order]":
        """Return the orders with a receipt, or those placed without one."""
        receipts = OrderPaper.objects.filter(order=OuterRef("pk"), paper__kind=PaperKind.RECEIPT)
        if kept == "none":
            return rows.filter(~Exists(receipts), state__in=COUNTED_STATES)
        return rows.filter(Exists(receipts))

    def for_job(self, rows: "QuerySet[Order]", name: str, job: Job) -> "QuerySet[Order]":
        """Return the orders for a job, or of which a line is."""
        lines = Line.objects.filter(order=OuterRef("pk"), job=job)
        return rows.filter(Q(job=job) | Q(Exists(lines)))


@dataclass(frozen=True)
class OrderRow:
    """One order as the list shows it."""

    order: Order
    what: str
    mark: str
    late: bool
    unpaid: bool = False
    overpaid: bool = False
    away: Location | None = None


@dataclass(frozen=True)
class OrderSums:
    """What the orders of a list come to, in minor units of the boat's currency."""

    landed: int
    arrived: int
    to_come: int
    came_back: int
    counted: int
    late: int
    drafts: int


def is_late(order: Order, today: date) -> bool:
    """Return whether an order should have come by now."""
    return order.state in COMING_STATES and order.expected_on is not None and order.expected_on < today


def order_rows(orders: Sequence[Order], today: date) -> list[OrderRow]:
    """Return the rows of these orders, with what each is of whether it is paid and lies away, in six queries."""
    lines: dict[int, list[Line]] = defaultdict(list)
    found = Line.objects.filter(order__in=[order.pk for order in orders]).select_related("part")
    for line in found.order_by("order_id", "position"):
        lines[line.order_id].append(line)
    owed = of_orders(orders)
    away = away_places(orders[0].boat, [order.pk for order in orders]) if orders else {}
    return [
        OrderRow(
            order,
            shortly([line.what for line in lines[order.pk]]),
            MARKS.get(OrderState(order.state), ""),
            is_late(order, today),
            # What has not come is seldom paid yet; that alone is nothing to stand out.
            unpaid=order.state == OrderState.ARRIVED and owed[order.pk].left > 0,
            overpaid=order.pk in owed and owed[order.pk].over > 0,
            away=away.get(order.pk),
        )
        for order in orders
    ]


def shortly(names: list[str]) -> str:
    """Return the first name, and how many more there are."""
    if len(names) < 2:
        return "".join(names)
    return f"{names[0]} and {len(names) - 1} more"


def sums(orders: "QuerySet[Order]", today: date) -> OrderSums:
    """Return what the orders of a list come to."""
    counted = Q(state__in=COUNTED_STATES)
    late = Q(state__in=COMING_STATES, expected_on__lt=today)
    found = orders.order_by().aggregate(
        total=Sum("landed", filter=counted),
        arrived=Sum("delivered", filter=counted),
        back=Sum("refunded", filter=counted),
        counted=Count("pk", filter=counted),
        late=Count("pk", filter=late),
        drafts=Count("pk", filter=Q(state=OrderState.DRAFT)),
    )
    total, arrived = found["total"] or 0, found["arrived"] or 0
    return OrderSums(
        landed=total,
        arrived=arrived,
        to_come=total - arrived,
        came_back=found["back"] or 0,
        counted=found["counted"],
        late=found["late"],
        drafts=found["drafts"],
    )


def in_tray(boat: Boat) -> int:
    """Return how many receipts wait in the tray."""
    return Paper.objects.filter(boat=boat, in_tray=True).count()


def file_rows(rows: Sequence[OrderRow]) -> list[list[Any]]:
    """Return the rows as the values of the columns of the file."""
    return [
        [
            Decimal(row.order.number),
            row.order.supplier.name,
            row.what,
            row.order.reference,
            row.order.get_state_display(),
            row.order.ordered_on,
            row.order.expected_on,
            str(row.order.job or ""),
            row.order.currency,
            row.order.goods,
            row.order.landed,
            row.order.delivered,
        ]
        for row in rows
    ]
