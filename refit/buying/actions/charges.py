"""Bills as they come: a charge entered later, spread over one order or several; the real bill for an expected one.

By supplier a charge counts under the seller of the lines that bear it; who is paid for it (`payee`) may be another.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.buying.actions.corrections import check_paid_bills, check_refunds, note
from refit.buying.actions.writing import check_deducted, checked_rate
from refit.buying.costing import refresh
from refit.buying.models import COUNTED_STATES, Charge, ChargeKind, Line, Order, Share, Supplier
from refit.buying.owing import bills
from refit.buying.rates import published
from refit.calc.money import from_minor, minor_digits, to_minor

LIMIT = 10**12


@dataclass(frozen=True)
class Bill:
    """A bill as typed. Without a rate, the European Central Bank's of its day is looked up."""

    kind: str
    amount: Decimal
    currency: str
    words: str = ""
    rate: Decimal | None = None
    basis: str = "value"
    reclaimable: bool = False
    expected: bool = False
    payee: Supplier | None = None
    billed_on: date | None = None
    reference: str = ""


@transaction.atomic
def add_charge(boat: Boat, lines: Sequence[Line], bill: Bill, *, by: Any, today: date) -> Charge:
    """Enter a charge over ticked lines, of one order or of several that came in one parcel."""
    lock(boat)
    if not lines:
        raise Refused("Tick the lines that this bill is for.", code="no_lines", field="lines")
    fresh = list(Line.objects.filter(boat=boat, pk__in=[line.pk for line in lines]).select_related("order"))
    orders = {line.order_id: line.order for line in fresh}
    for order in orders.values():
        if order.state not in COUNTED_STATES:
            raise Refused(
                f"Order {order.number} is {order.get_state_display().lower()}; a bill belongs to a placed one.",
                code="not_placed",
                field="lines",
            )
    only = next(iter(orders.values())) if len(orders) == 1 else None
    charge = Charge(boat=boat, order=only)
    _set(charge, bill, today)
    charge.over_all = only is not None and len(fresh) == only.lines.count()
    charge.save()
    Share.objects.bulk_create(
        [Share(boat=boat, charge=charge, line=line) for line in sorted(fresh, key=lambda row: row.pk)]
    )
    before = {pk: order.landed for pk, order in orders.items()}
    refresh(orders.values(), on=today, words=f"{charge.get_kind_display()} added")
    check_refunds(orders.values())
    for order in Order.objects.filter(pk__in=list(orders)):
        note(
            order,
            f"{charge.get_kind_display()} added",
            "",
            said(charge),
            order.landed - before[order.pk],
            by=by,
            on=today,
        )
    return charge


@transaction.atomic
def bill_came(charge: Charge, bill: Bill, *, by: Any, today: date) -> Charge:
    """Put the real bill in the place of what was expected; landed costs follow at once."""
    lock(charge.boat)
    fresh = standing(Charge.objects.select_for_update(no_key=True), charge.pk, "This bill")
    if not fresh.expected:
        raise Refused("This bill has come already; correct it instead.", code="not_expected")
    expected = fresh.home
    _set(fresh, bill, today)
    fresh.expected, fresh.expected_home = False, expected
    fresh.billed_on = bill.billed_on or today
    fresh.save()
    hoped = f"{from_minor(abs(expected), fresh.boat.currency)} {fresh.boat.currency} expected"
    _follow(fresh, f"Bill for {fresh.get_kind_display().lower()} came", hoped, by=by, today=today)
    return fresh


@transaction.atomic
def bill_did_not_come(charge: Charge, *, by: Any, today: date) -> Charge:
    """Take the real bill back and expect it again (undo)."""
    lock(charge.boat)
    fresh = standing(Charge.objects.select_for_update(no_key=True), charge.pk, "This bill")
    if fresh.expected or fresh.expected_home is None:
        raise Refused("There was no expected bill here.", code="not_expected")
    if fresh.payment_splits.exists():
        raise Refused("This bill was paid; take the payment back first.", code="paid")
    before = said(fresh)
    fresh.currency, fresh.rate = fresh.boat.currency, Decimal(1)
    fresh.amount, fresh.expected, fresh.expected_home = abs(fresh.expected_home), True, None
    fresh.billed_on, fresh.reference = None, ""
    fresh.save()
    _follow(fresh, f"Bill for {fresh.get_kind_display().lower()} expected again", before, by=by, today=today)
    return fresh


@transaction.atomic
def change_charge(charge: Charge, bill: Bill, *, by: Any, today: date) -> Charge:
    """Correct a charge of a placed order."""
    lock(charge.boat)
    fresh = standing(Charge.objects.select_for_update(no_key=True), charge.pk, "This bill")
    before, own = said(fresh), bills(fresh.boat).filter(pk=fresh.pk)
    paid = fresh.payment_splits.exists()
    by_itself = paid and own.exists()
    _set(fresh, bill, today)
    fresh.save()
    if paid and (fresh.expected or (by_itself and not own.exists())):
        raise Refused(
            "This was paid as a bill by itself, and would be none any more; take the payment back first.",
            code="paid",
        )
    _follow(fresh, f"{fresh.get_kind_display()} corrected", before, by=by, today=today)
    return fresh


@transaction.atomic
def remove_charge(charge: Charge, *, by: Any, today: date) -> None:
    """Take a charge off; nothing of it may have been paid by itself."""
    lock(charge.boat)
    fresh = standing(Charge.objects.select_for_update(no_key=True), charge.pk, "This bill")
    if fresh.payment_splits.exists():
        raise Refused("This bill was paid; take the payment back first.", code="paid")
    orders = list(Order.objects.filter(lines__shares__charge=fresh).distinct())
    before = {order.pk: order.landed for order in orders}
    words, was = f"{fresh.get_kind_display()} taken off", said(fresh)
    fresh.delete()
    refresh(orders, on=today, words=words)
    check_refunds(orders)
    for order in Order.objects.filter(pk__in=list(before)):
        note(order, words, was, "", order.landed - before[order.pk], by=by, on=today)


def waiting(boat: Boat, before: date) -> list[Charge]:
    """Return the charges whose bill has not come although the order was placed on or before that day."""
    return list(
        Charge.objects.filter(
            boat=boat,
            expected=True,
            shares__line__order__ordered_on__lte=before,
            shares__line__order__state__in=COUNTED_STATES,
        )
        .select_related("order", "payee")
        .distinct()
        .order_by("id")
    )


def said(charge: Charge) -> str:
    """Return a charge in a few words, for the record of what was changed: `45.00 GBP, duty at the door`."""
    words = f"{from_minor(charge.amount, charge.currency)} {charge.currency}"
    if charge.expected:
        words += " expected"
    return f"{words}, {charge.words}" if charge.words else words


def _follow(charge: Charge, words: str, was: str, *, by: Any, today: date) -> None:
    orders = list(Order.objects.filter(lines__shares__charge=charge).distinct())
    before = {order.pk: order.landed for order in orders}
    refresh(orders, on=today, words=words)
    check_refunds(orders)
    check_paid_bills(orders)
    for order in Order.objects.filter(pk__in=list(before)):
        note(order, words, was, said(charge), order.landed - before[order.pk], by=by, on=today)


def _set(charge: Charge, bill: Bill, today: date) -> None:
    home = charge.boat.currency
    try:
        minor_digits(bill.currency)
    except ValueError as problem:
        raise Refused(str(problem), code="currency", field="currency") from None
    amount = to_minor(bill.amount, bill.currency)
    if not 0 <= amount < LIMIT:
        raise Refused(f"{bill.amount} cannot be right for a bill.", code="amount", field="amount")
    if bill.billed_on and bill.billed_on > today:
        raise Refused(f"{bill.billed_on:%-d %b %Y} has not come yet.", code="future", field="billed_on")
    if bill.reclaimable and bill.kind != ChargeKind.TAX:
        raise Refused("Only a tax can be reclaimed.", code="reclaimable", field="reclaimable")
    if charge.in_prices and bill.kind != ChargeKind.TAX:
        raise Refused("This tax is in the prices already; it stays a tax.", code="tax_marks", field="kind")
    if not charge.reclaimable:  # what was deducted while it could be stays so
        check_deducted(bill.reclaimable, charge.boat)
    charge.rate = _rate(bill, home, bill.billed_on or today)
    charge.kind, charge.words, charge.basis = bill.kind, bill.words, bill.basis
    charge.amount, charge.currency = amount, bill.currency
    charge.reclaimable, charge.expected = bill.reclaimable, bill.expected
    charge.payee, charge.billed_on, charge.reference = bill.payee, bill.billed_on, bill.reference


def _rate(bill: Bill, home: str, day: date) -> Decimal:
    if bill.currency == home:
        return Decimal(1)
    if bill.rate is not None:
        return checked_rate(bill.rate)
    found = published(bill.currency, home, day)
    if found is None:
        raise Refused(
            f"No {bill.currency} rate was published within 7 days before {day:%-d %b %Y}. Type the rate.",
            code="no_rate",
            field="rate",
        )
    return found.rate


__all__ = [
    "Bill",
    "add_charge",
    "bill_came",
    "bill_did_not_come",
    "change_charge",
    "remove_charge",
    "said",
    "waiting",
]
