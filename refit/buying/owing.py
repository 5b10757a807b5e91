"""What each order and bill still owes, what was paid too much, and who is owed.

An order owes what its own seller bills: the goods and the charges in its own money that have no payee of their own.
A charge with a payee of its own, or in other money, or over several orders, is a bill by itself. A bill that is only
expected is not owed yet. A refund changes nothing here: it is money that came back, not money that was not paid.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Sum

from refit.boat.models import Boat
from refit.buying.costing import line_amount
from refit.buying.models import (
    COUNTED_STATES,
    Charge,
    ChargeKind,
    Credit,
    Line,
    Means,
    Order,
    OrderPaper,
    OrderState,
    Payment,
    PaymentSplit,
    Repeat,
    Supplier,
)

IN_SUMS = Q(state__in=COUNTED_STATES)


@dataclass(frozen=True)
class Owed:
    """What is billed and paid of one order, or of one bill, in minor units of the boat's currency.

    `own_left` is what no payment has settled yet, in the order's own currency; None in the boat's own money.
    `settled` is how much of it payments have settled.
    """

    billed: int
    paid: int
    order: Order | None = None
    charge: Charge | None = None
    own_billed: int | None = None
    settled: int = 0

    @property
    def own_left(self) -> int | None:
        return None if self.own_billed is None else self.own_billed - self.settled

    @property
    def difference(self) -> int:
        """Return what is left to pay; below nought, what was paid too much."""
        if self.own_left is not None and self.settled:
            if self.own_left == 0:
                return 0
            if self.own_left < 0:  # at what was truly paid for it
                return min(self.billed - self.paid, 0)
        return self.billed - self.paid

    @property
    def left(self) -> int:
        return max(self.difference, 0)

    @property
    def over(self) -> int:
        return max(-self.difference, 0)

    @property
    def payee(self) -> Supplier | None:
        return self.order.supplier if self.order else self.charge.payee if self.charge else None

    @property
    def on(self) -> date | None:
        """Return the day of the bill: that of ordering, or that which the bill bears."""
        if self.order is not None:
            return self.order.ordered_on
        return self.charge.billed_on if self.charge else None

    @property
    def key(self) -> str:
        """Return a short name for forms: `o17` for an order, `c4` for a bill, by their ids."""
        return f"o{self.order.pk}" if self.order else f"c{self.charge.pk if self.charge else 0}"

    @property
    def is_cancelled(self) -> bool:
        return self.order is not None and self.order.state == OrderState.CANCELLED


def of_orders(orders: Iterable[Order]) -> dict[int, Owed]:
    """Return what each of these orders owes its seller, in four queries. Drafts owe nothing yet."""
    rows = list(orders)
    if not rows:
        return {}
    # All of one boat: looked up once, not with each order.
    return _of_orders(rows, [order.pk for order in rows], rows[0].boat.currency)


def _of_orders(rows: list[Order], ids: Any, home: str) -> dict[int, Owed]:
    """Return what these orders owe; `ids` are their ids, or the query for them: a list of them may be long."""
    charges: dict[int, list[Charge]] = defaultdict(list)
    for charge in Charge.objects.filter(order__in=ids, payee=None, in_prices=False, expected=False):
        charges[charge.order_id or 0].append(charge)
    paid = dict(
        PaymentSplit.objects.filter(order__in=ids)
        .order_by()
        .values_list("order_id")
        .annotate(total=Sum("amount"))
    )
    settled = dict(
        PaymentSplit.objects.filter(order__in=ids, settles__isnull=False)
        .order_by()
        .values_list("order_id")
        .annotate(total=Sum("settles"))
    )
    goods: dict[int, int] = defaultdict(int)
    for line in Line.objects.filter(order__in=ids).exclude(order__currency=F("boat__currency")):
        goods[line.order_id] += line_amount(line)
    found = {}
    for order in rows:
        if order.is_draft:
            continue
        own = [charge for charge in charges[order.pk] if charge.currency == order.currency]
        # What was cancelled is billed no more: what was paid for it is too much.
        stands = order.state != OrderState.CANCELLED
        own_billed = None
        if order.currency != home:
            own_billed = goods[order.pk] + sum(_signed(charge) for charge in own) if stands else 0
        found[order.pk] = Owed(
            billed=order.goods + sum(charge.home for charge in own) if stands else 0,
            paid=paid.get(order.pk, 0),
            order=order,
            own_billed=own_billed,
            settled=settled.get(order.pk, 0),
        )
    return found


def bills(boat: Boat) -> "QuerySet[Charge]":
    """Return the charges that are bills by themselves, and have come."""
    by_themselves = Q(order=None) | Q(payee__isnull=False) | ~Q(currency=F("order__currency"))
    in_sums = Q(order=None) | Q(order__state__in=COUNTED_STATES)
    return (
        Charge.objects.filter(by_themselves, in_sums, boat=boat, expected=False, in_prices=False)
        .exclude(kind=ChargeKind.DISCOUNT)
        .exclude(amount=0)
    )


def of_bills(charges: "QuerySet[Charge]") -> list[Owed]:
    """Return what each of these bills still owes."""
    rows = charges.select_related("payee", "order", "order__supplier", "boat").order_by("billed_on", "id")
    return [
        Owed(abs(charge.home), charge.paid or 0, charge=charge)  # type: ignore[attr-defined]
        for charge in rows.annotate(paid=Sum("payment_splits__amount"))
    ]


def everything(boat: Boat, supplier: Supplier | None = None) -> list[Owed]:
    """Return what every order and bill of the boat (or of one payee) owes, the oldest first."""
    orders = Order.objects.filter(boat=boat).filter(
        IN_SUMS | Q(state=OrderState.CANCELLED) & Exists(PaymentSplit.objects.filter(order=OuterRef("pk")))
    )
    charges = bills(boat)
    if supplier is not None:
        orders, charges = orders.filter(supplier=supplier), charges.filter(payee=supplier)
    rows = list(orders.select_related("supplier", "boat"))
    found = [*_of_orders(rows, orders.order_by().values("pk"), boat.currency).values(), *of_bills(charges)]
    return sorted(found, key=lambda owed: (owed.on or date.max, owed.key))


def to_pay(boat: Boat, supplier: Supplier | None = None) -> list[Owed]:
    """Return what is still to pay, the oldest first."""
    return [owed for owed in everything(boat, supplier) if owed.left]


def we_owe(boat: Boat) -> "QuerySet[Payment]":
    """Return what a helper paid and has not got back yet."""
    return Payment.objects.filter(boat=boat, we_owe=True, paid_back_on=None)


def cash_without_paper(payments: "QuerySet[Payment]") -> "QuerySet[Payment]":
    """Return the payments in cash of which no order has a paper: nothing proves them."""
    papers = OrderPaper.objects.filter(order__payment_splits__payment=OuterRef("pk"))
    return payments.filter(means=Means.CASH).filter(~Exists(papers))


def store_credits(boat: Boat) -> list[tuple[Supplier, int]]:
    """Return the suppliers that owe store credit, each with its balance."""
    came: dict[Any, int] = dict(
        Credit.objects.filter(boat=boat, as_store_credit=True, came_on__isnull=False)
        .order_by()
        .values_list("order__supplier")
        .annotate(total=Sum("home"))
    )
    spent: dict[Any, int] = dict(
        PaymentSplit.objects.filter(boat=boat, payment__means=Means.STORE_CREDIT)
        .order_by()
        .values_list("order__supplier")
        .annotate(total=Sum("amount"))
    )
    rows = Supplier.objects.filter(boat=boat, pk__in=list(came)).order_by("name")
    balances = [(supplier, came[supplier.pk] - spent.get(supplier.pk, 0)) for supplier in rows]
    return [(supplier, balance) for supplier, balance in balances if balance]


def running(boat: Boat) -> "QuerySet[Repeat]":
    """Return the orders that come again, the next one first."""
    return (
        Repeat.objects.filter(boat=boat, stopped_at=None)
        .select_related("order__supplier", "order__boat")
        .order_by("next_on", "id")
    )


def due_again(boat: Boat, today: date) -> "QuerySet[Repeat]":
    """Return the orders that are due again and wait to be confirmed."""
    return running(boat).filter(next_on__lte=today)


def _signed(charge: Charge) -> int:
    return -charge.amount if charge.kind == ChargeKind.DISCOUNT else charge.amount
