"""Payments: splitting them to the last minor unit, paying back a helper, deposits, store credit, repeating orders."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.buying.actions.orders import (
    ChargeFacts,
    LineFacts,
    OrderFacts,
    back_to_draft,
    place_order,
    throw_away,
    write_order,
)
from refit.buying.costing import refresh
from refit.buying.models import (
    COUNTED_STATES,
    Charge,
    Credit,
    Line,
    Means,
    Order,
    Payment,
    PaymentSplit,
    PricedBy,
    Repeat,
    Supplier,
)
from refit.buying.rates import published
from refit.calc.dates import add_months
from refit.calc.money import from_minor


@dataclass(frozen=True)
class Split:
    """What of a payment goes to an order or a charge; `settles` is what it settled in the order's own money."""

    amount: int
    order: Order | None = None
    charge: Charge | None = None
    settles: int | None = None


@transaction.atomic
def pay(
    boat: Boat,
    splits: Sequence[Split],
    *,
    on: date,
    today: date,
    by: Any,
    means: str = Means.CARD,
    payer: str = "",
    payee: Supplier | None = None,
    amount: int | None = None,
    **facts: Any,
) -> Payment:
    """Write down a payment, split over orders and charges; the splits add up to it exactly."""
    lock(boat)
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="paid_on")
    total = sum(split.amount for split in splits)
    if not splits or any(split.amount <= 0 for split in splits):
        raise Refused("How much was paid? Type an amount above nil.", code="nothing", field="amount")
    if amount is not None and amount != total:
        raise Refused(
            f"The parts make {from_minor(total, boat.currency)}, the payment is "
            f"{from_minor(amount, boat.currency)}. They must be the same.",
            code="splits",
            field="amount",
        )
    paid = [split.order for split in splits if split.order is not None]
    splits = [_as_it_stands(split) for split in splits]
    if means == Means.STORE_CREDIT:
        _check_store_credit(boat, splits, payee, total)
    payment = Payment.objects.create(
        boat=boat,
        paid_on=on,
        means=Means(means),
        amount=total,
        payer=payer,
        payee=payee,
        entered_by=by,
        **facts,
    )
    for split in splits:
        _check_split(split, boat)
        PaymentSplit.objects.create(
            boat=boat,
            payment=payment,
            order=split.order,
            charge=split.charge,
            amount=split.amount,
            settles=split.settles,
        )
    refresh(paid, on=on, words="rate of what was paid")
    return payment


@transaction.atomic
def take_back_payment(payment: Payment) -> None:
    """Take a payment back (undo, or a mistake); rates that it set are open again."""
    lock(payment.boat)
    fresh = standing(Payment.objects.all(), payment.pk, "This payment")
    orders = list(Order.objects.filter(payment_splits__payment=fresh).distinct())
    fresh.delete()
    refresh(orders, words="rate open again")


@transaction.atomic
def pay_back(payment: Payment, *, on: date, today: date) -> Payment:
    """Say that the helper who paid has got the money back."""
    lock(payment.boat)
    fresh = standing(Payment.objects.all(), payment.pk, "This payment")
    if not fresh.we_owe:
        raise Refused("Nobody is owed this payment.", code="not_owed")
    if fresh.paid_back_on:
        raise Refused(f"This was paid back on {fresh.paid_back_on:%-d %b %Y}.", code="paid_back")
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="on")
    fresh.paid_back_on = on
    fresh.save(update_fields=["paid_back_on"])
    return fresh


@transaction.atomic
def owe_again(payment: Payment) -> Payment:
    """Say that the helper is still owed (undo)."""
    lock(payment.boat)
    Payment.objects.filter(pk=payment.pk).update(paid_back_on=None)
    return standing(Payment.objects.all(), payment.pk, "This payment")


def store_credit(supplier: Supplier) -> int:
    """Return the balance with a supplier: refunds that came as store credit, less what was paid with it."""
    came = Credit.objects.filter(
        order__supplier=supplier, as_store_credit=True, came_on__isnull=False
    ).aggregate(total=Sum("home"))["total"]
    spent = PaymentSplit.objects.filter(
        payment__means=Means.STORE_CREDIT, order__supplier=supplier
    ).aggregate(total=Sum("amount"))["total"]
    return (came or 0) - (spent or 0)


def check_balance(supplier: Supplier) -> None:
    """Refuse what would take away store credit that was spent."""
    if store_credit(supplier) < 0:
        raise Refused(f"{supplier}'s store credit was spent; take that payment back first.", code="spent")


@transaction.atomic
def repeat_order(order: Order, *, every_months: int, next_on: date) -> Repeat:
    """Let an order come again every so many months; each time is confirmed by a person."""
    lock(order.boat)
    if not 1 <= every_months <= 60:
        raise Refused("Every 1 to 60 months.", code="every", field="every_months")
    if order.state not in COUNTED_STATES:
        raise Refused(f"Order {order.number} was not placed.", code="not_placed")
    repeat, _ = Repeat.objects.update_or_create(
        boat=order.boat,
        order=order,
        defaults={"every_months": every_months, "next_on": next_on, "stopped_at": None},
    )
    return repeat


@transaction.atomic
def stop_repeat(repeat: Repeat) -> Repeat:
    """Stop an order from coming again."""
    lock(repeat.boat)
    Repeat.objects.filter(pk=repeat.pk).update(stopped_at=timezone.now())
    return Repeat.objects.get(pk=repeat.pk)


@transaction.atomic
def confirm_repeat(repeat: Repeat, *, by: Any, today: date, price: Decimal | None = None) -> Order:
    """Make the order that is due, as the last one was (or, with one line, at another price), and place it."""
    lock(repeat.boat)
    rows = Repeat.objects.select_related("order", "order__supplier", "order__job")
    fresh = standing(rows, repeat.pk, "What was said of this order coming again")
    if fresh.stopped_at:
        raise Refused("This order no longer comes again.", code="stopped")
    if fresh.order_id != repeat.order_id:
        raise Refused(
            f"Somebody confirmed this meanwhile: it is order {fresh.order.number}. "
            f"Next it is due on {fresh.next_on:%-d %b %Y}.",
            code="confirmed",
        )
    if fresh.next_on > today:
        raise Refused(f"It is due on {fresh.next_on:%-d %b %Y}, not before.", code="not_due")
    made = write_order(fresh.boat, _again(fresh.order, fresh.next_on, price), by=by, today=today)
    made = place_order(made, on=fresh.next_on, today=today)
    # It goes on from the newest order, so that a new price holds from now on.
    fresh.order, fresh.next_on = made, add_months(fresh.next_on, fresh.every_months)
    fresh.save(update_fields=["order", "next_on"])
    return made


@transaction.atomic
def unconfirm_repeat(made: Order, before: Order) -> Repeat:
    """Take back an order that came again (undo): it was never made, and is due as before."""
    lock(made.boat)
    repeat = Repeat.objects.filter(order=made).first()
    if repeat is None or made.ordered_on is None or before.supplier_id != made.supplier_id:
        raise Refused(f"Order {made.number} did not come again.", code="no_repeat")
    repeat.order, repeat.next_on = before, made.ordered_on
    repeat.save(update_fields=["order", "next_on"])
    throw_away(back_to_draft(made))
    return repeat


def _again(order: Order, on: date, price: Decimal | None) -> OrderFacts:
    lines = list(order.lines.select_related("part", "job", "system", "place", "order").order_by("position"))
    if price is not None and len(lines) != 1:
        raise Refused("Another price fits an order of one line only.", code="price", field="price")
    return OrderFacts(
        supplier=order.supplier,
        currency=order.currency,
        ordered_on=on,
        # The rate of its own day where there is one, else the last.
        rate=None if published(order.currency, order.boat.currency, on) else order.rate,
        prices_with_tax=order.prices_with_tax,
        tax_percent=order.tax_percent,
        job=order.job,
        lines=[
            LineFacts(
                packs=line.packs,
                pack_size=line.pack_size,
                price=_price(line) if price is None else price,
                total=line.priced_by == PricedBy.TOTAL and price is None,
                part=line.part,
                words=line.words,
                service=line.kind == "service",
                job=line.job,
                system=line.system,
                place=line.place,
            )
            for line in lines
        ],
        charges=[
            ChargeFacts(
                kind=charge.kind,
                amount=from_minor(charge.amount, charge.currency),
                words=charge.words,
                currency=charge.currency,
                rate=charge.rate,
                basis=charge.basis,
                reclaimable=charge.reclaimable,
                in_prices=charge.in_prices,
                expected=charge.expected,
                payee=charge.payee,
            )
            for charge in order.charges.filter(over_all=True).select_related("payee")
        ],
    )


def _price(line: Line) -> Decimal:
    """Return a line's price as it was typed: of one, or of the line in all."""
    if line.priced_by == PricedBy.TOTAL:
        return from_minor(line.amount, line.order.currency)
    return line.unit_price


def _as_it_stands(split: Split) -> Split:
    """Return a part of a payment with its order and bill as they stand under the lock."""
    order = split.order and standing(Order.objects.all(), split.order.pk, "The order that is paid")
    charge = split.charge and standing(Charge.objects.all(), split.charge.pk, "The bill that is paid")
    return replace(split, order=order, charge=charge)


def _check_split(split: Split, boat: Boat) -> None:
    if (split.order is None) == (split.charge is None):
        raise Refused("Each part of a payment is for an order or for a bill.", code="split")
    if split.order is not None and split.order.state not in COUNTED_STATES:
        raise Refused(f"Order {split.order.number} was not placed.", code="not_placed", field="order")
    if split.charge is not None and split.charge.expected:
        raise Refused("That bill has not come yet.", code="expected", field="charge")
    if split.charge is not None and not split.charge.shares.filter(line__counted=True).exists():
        raise Refused(
            f"The bill for {split.charge} is on no order that was placed.", code="not_placed", field="charge"
        )
    if split.settles is not None and split.order is not None and split.order.currency == boat.currency:
        raise Refused("An order in the boat's own money has no rate to settle.", code="settles")


def _check_store_credit(boat: Boat, splits: Sequence[Split], payee: Supplier | None, total: int) -> None:
    sellers = {split.order.supplier_id for split in splits if split.order is not None}
    if len(sellers) != 1 or any(split.order is None for split in splits):
        raise Refused("Store credit pays orders of the one supplier that owes it.", code="store_credit")
    supplier = Supplier.objects.get(boat=boat, pk=sellers.pop())
    if payee is not None and payee.pk != supplier.pk:
        raise Refused("Store credit pays the supplier that owes it.", code="store_credit")
    balance = store_credit(supplier)
    if total > balance:
        raise Refused(
            f"{supplier} owes {from_minor(balance, boat.currency)} of store credit, not "
            f"{from_minor(total, boat.currency)}.",
            code="store_credit",
            field="amount",
        )
