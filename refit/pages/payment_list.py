"""The list of payments: its sieve, its order and what a row says. Decides nothing about who may see it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import django_filters
from django import forms
from django.db.models import Exists, OuterRef, Q, QuerySet

from refit.buying.models import Means, OrderPaper, Payment, PaymentSplit, Supplier
from refit.buying.owing import cash_without_paper
from refit.calc.text import fold
from refit.pages.acting import at
from refit.pages.lists import Keys
from refit.pages.order_list import DayFilter
from refit.reports.workbook import Column, Kind

KEYS: Keys = {
    "newest": ["-paid_on", "-id"],
    "date": ["paid_on", "id"],
    "payee": ["payee__name", "-paid_on"],
    "payer": ["payer", "-paid_on"],
    "means": ["means", "-paid_on"],
    "amount": ["amount", "-paid_on"],
}
COLUMNS = (
    Column("Paid on", Kind.DATE),
    Column("Paid to"),
    Column("For"),
    Column("By"),
    Column("Who paid"),
    Column("Reference"),
    Column("Deposit"),
    Column("To be paid back"),
    Column("Paid back on", Kind.DATE),
    Column("Amount", Kind.MONEY),
)
NO_PAPER = "no-paper"
WHICH = [
    ("owe", "A helper paid, not paid back"),
    ("deposit", "Deposits"),
    (NO_PAPER, "Cash without a paper"),
]


def _suppliers(request: Any) -> "QuerySet[Supplier]":
    return Supplier.objects.filter(boat=request.boat)


class PaymentSieve(django_filters.FilterSet):
    """What the list of payments may be narrowed to."""

    find = django_filters.CharFilter(
        method="look_for",
        label="Find",
        max_length=100,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    means = django_filters.ChoiceFilter(choices=Means, label="By", empty_label="Any")
    payee = django_filters.ModelChoiceFilter(queryset=_suppliers, label="Paid to", empty_label="Any")
    which = django_filters.ChoiceFilter(choices=WHICH, method="of_kind", label="Only", empty_label="All")
    since = DayFilter(field_name="paid_on", lookup_expr="gte", label="Paid from")
    until = DayFilter(field_name="paid_on", lookup_expr="lte", label="Paid until")

    class Meta:
        model = Payment
        fields: list[str] = []

    def look_for(self, rows: "QuerySet[Payment]", name: str, text: str) -> "QuerySet[Payment]":
        """Return the payments with the text in payer, payee, reference, or the number of an order."""
        either = Q(reference__icontains=text) | Q(payer__icontains=text)
        if fold(text):
            either |= Q(payee__folded__contains=fold(text))
        if text.isascii() and text.isdigit() and len(text) < 10:
            splits = PaymentSplit.objects.filter(payment=OuterRef("pk"), order__number=int(text))
            either |= Q(Exists(splits))
        return rows.filter(either)

    def of_kind(self, rows: "QuerySet[Payment]", name: str, which: str) -> "QuerySet[Payment]":
        """Return what a helper paid and is owed, deposits, or cash that nothing proves."""
        if which == "owe":
            return rows.filter(we_owe=True, paid_back_on=None)
        return rows.filter(is_deposit=True) if which == "deposit" else cash_without_paper(rows)


@dataclass
class PaymentRow:
    """One payment as the list shows it."""

    payment: Payment
    splits: list[PaymentSplit] = field(default_factory=list)
    no_paper: bool = False

    @property
    def orders(self) -> list[int]:
        return [split.order.number for split in self.splits if split.order]

    @property
    def bills(self) -> list[str]:
        return [str(split.charge) for split in self.splits if split.charge]

    @property
    def words(self) -> str:
        """Return what it was for: `orders 4, 7; Freight`."""
        words = []
        if self.orders:
            some = "order" if len(self.orders) == 1 else "orders"
            words.append(f"{some} {', '.join(str(number) for number in self.orders)}")
        return "; ".join([*words, *self.bills])


def payment_rows(payments: Sequence[Payment]) -> list[PaymentRow]:
    """Return the rows of these payments, with what each was for, in two queries."""
    ids = [payment.pk for payment in payments]
    splits: dict[int, list[PaymentSplit]] = defaultdict(list)
    for split in (
        PaymentSplit.objects.filter(payment__in=ids).select_related("order", "charge").order_by("id")
    ):
        splits[split.payment_id].append(split)
    proved = set(
        OrderPaper.objects.filter(order__payment_splits__payment__in=ids)
        .order_by()
        .values_list("order__payment_splits__payment", flat=True)
    )
    return [
        PaymentRow(payment, splits[payment.pk], payment.means == Means.CASH and payment.pk not in proved)
        for payment in payments
    ]


def file_rows(rows: Sequence[PaymentRow]) -> list[list[Any]]:
    """Return the rows as the values of the columns of the file."""
    return [
        [
            row.payment.paid_on,
            row.payment.payee.name if row.payment.payee else "",
            row.words,
            row.payment.get_means_display(),
            row.payment.payer,
            row.payment.reference,
            "yes" if row.payment.is_deposit else "",
            "yes" if row.payment.we_owe else "",
            row.payment.paid_back_on,
            row.payment.amount,
        ]
        for row in rows
    ]


def tabs(request: Any, here: str) -> list[dict[str, Any]]:
    """Return the ways between the pages of payments."""
    words = (
        ("payments", "Paid"),
        ("to-pay", "To pay"),
        ("we-owe", "We owe"),
        ("store-credit", "Store credit"),
        ("repeats", "Comes again"),
    )
    return [{"word": word, "go": at(request, name), "here": name == here} for name, word in words]
