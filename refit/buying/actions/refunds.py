"""Money back, and goods sent back.

A refund counts when the money has come, at what truly came; the difference of exchange stays on its lines and is
named. It is refused above the order's cost less earlier refunds, unless it is goodwill with a reason. Goods that go
back are set aside at once (on the shelf, not usable), and leave the stores when they are sent.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.refusals import Refused
from refit.buying.actions.payments import check_balance
from refit.buying.actions.writing import LIMIT
from refit.buying.costing import converted, refresh
from refit.buying.models import (
    COUNTED_STATES,
    Credit,
    CreditKind,
    CreditShare,
    Line,
    Order,
    Return,
    ReturnLine,
)
from refit.calc.money import allocate, from_minor, to_minor
from refit.calc.numbers import format_quantity
from refit.stores.actions.aside import set_aside, use_again
from refit.stores.actions.ledger import Move, record, reverse
from refit.stores.models import EntryKind, Holding, Movement, Reason


@dataclass(frozen=True)
class Refund:
    """A refund as typed: an amount in some currency, and what truly came in the boat's, if that is known."""

    kind: str
    amount: Decimal
    currency: str
    came_on: date | None = None
    applied_on: date | None = None
    came: Decimal | None = None  # boat's currency; None: at the order's rate
    reason: str = ""
    reference: str = ""
    as_store_credit: bool = False


@transaction.atomic
def add_refund(order: Order, lines: Sequence[Line], refund: Refund, *, by: Any, today: date) -> Credit:
    """Write down money back on an order: applied for only, or come."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if fresh.state not in COUNTED_STATES:
        raise Refused(f"Order {fresh.number} is in no sum; nothing can come back on it.", code="not_placed")
    rows = list(fresh.lines.filter(pk__in=[line.pk for line in lines], counted=True).order_by("position"))
    if not rows:
        raise Refused("Tick the lines that the money is for.", code="no_lines", field="lines")
    credit = Credit(boat=fresh.boat, order=fresh, entered_by=by)
    _set(credit, refund, today)
    _check_ceiling(credit, fresh)
    credit.save()
    _share(credit, rows)
    refresh([fresh])
    return credit


@transaction.atomic
def refund_came(credit: Credit, *, came_on: date, came: Decimal | None, today: date) -> Credit:
    """Say that a refund that was applied for has come, and how much of it."""
    lock(credit.boat)
    fresh = standing(Credit.objects.select_related("order"), credit.pk, "This refund")
    if fresh.came_on:
        raise Refused(f"This came on {fresh.came_on:%-d %b %Y} already.", code="came_already")
    if came_on > today:
        raise Refused(f"{came_on:%-d %b %Y} has not come yet.", code="future", field="came_on")
    fresh.came_on = came_on
    if came is not None:
        fresh.home = to_minor(came, fresh.boat.currency)
    if fresh.home <= 0:
        raise Refused("How much came? Type an amount above nil.", code="nothing", field="came")
    _check_ceiling(fresh, fresh.order)
    fresh.save()
    _share(fresh, [row.line for row in fresh.shares.select_related("line").order_by("line__position")])
    refresh([fresh.order])
    return fresh


@transaction.atomic
def refund_did_not_come(credit: Credit) -> Credit:
    """Say that a refund that was applied for has not come after all (undo): it is hoped for again."""
    lock(credit.boat)
    fresh = standing(Credit.objects.select_related("order"), credit.pk, "This refund")
    if fresh.came_on is None or fresh.applied_on is None:
        raise Refused("This was not applied for and then come; take it back instead.", code="not_applied_for")
    # What was hoped for is the amount at the order's rate; what truly came is undone with the day.
    fresh.came_on, fresh.home = None, fresh.at_order_rate
    _check_ceiling(fresh, fresh.order)
    fresh.save()
    refresh([fresh.order])
    lines = [row.line for row in fresh.shares.select_related("line").order_by("line__position")]
    _share(fresh, lines)
    check_balance(fresh.order.supplier)
    return fresh


@transaction.atomic
def take_back_refund(credit: Credit) -> None:
    """Take a refund back (undo, or it was refused): the cost stands again."""
    lock(credit.boat)
    fresh = standing(Credit.objects.select_related("order"), credit.pk, "This refund")
    order = fresh.order
    fresh.delete()
    refresh([order])
    check_balance(order.supplier)


@transaction.atomic
def say_going_back(
    order: Order, items: Sequence[tuple[Line, Decimal, Holding | None]], *, by: Any, on: date, why: str = ""
) -> Return:
    """Say that goods go back: what is in the stores is set aside at once."""
    lock(order.boat)
    if not items:
        raise Refused("Tick what goes back.", code="nothing", field="lines")
    back = Return.objects.create(boat=order.boat, order=order, why=why, said_on=on, by=by)
    for line, quantity, holding in items:
        fresh = Line.objects.select_related("part").get(pk=line.pk)
        _check_back(fresh, quantity, holding)
        aside = set_aside(holding, quantity, f"goes back, order {order.number}") if holding else None
        ReturnLine.objects.create(boat=order.boat, back=back, line=fresh, quantity=quantity, set_aside=aside)
    return back


@transaction.atomic
def keep_after_all(back: Return) -> None:
    """Say that the goods stay (undo of going back)."""
    lock(back.boat)
    fresh = standing(Return.objects.all(), back.pk, "What was said of goods going back")
    if fresh.sent_on:
        raise Refused("They were sent already; undo that first.", code="sent")
    rows = list(fresh.lines.select_related("set_aside"))
    asides = [row.set_aside for row in rows if row.set_aside]
    fresh.delete()
    for aside in asides:
        aside.delete()


@transaction.atomic
def send_back(back: Return, *, by: Any, on: date, today: date, reference: str = "") -> Return:
    """Say that the goods were sent: they leave the stores."""
    lock(back.boat)
    fresh = standing(
        Return.objects.select_for_update(no_key=True), back.pk, "What was said of goods going back"
    )
    if fresh.sent_on:
        raise Refused(f"These were sent on {fresh.sent_on:%-d %b %Y} already.", code="sent")
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="sent_on")
    rows = list(
        fresh.lines.select_related(
            "line", "set_aside__holding__part", "set_aside__holding__lot", "set_aside__holding__place"
        )
    )
    moves = []
    for row in rows:
        if row.set_aside:
            holding = row.set_aside.holding
            use_again(row.set_aside)
            moves.append(
                Move(holding.part, Reason.RETURNED, row.quantity, from_place=holding.place, lot=holding.lot)
            )
    if moves:
        said = f"Sent back on order {fresh.order.number}: {len(moves)} {'thing' if len(moves) == 1 else 'things'}."
        fresh.entry = record(fresh.boat, EntryKind.RETURN, said, moves, by=by, on=on, today=today)
        made = list(Movement.objects.filter(entry=fresh.entry).order_by("id"))
        for row, movement in zip([row for row in rows if row.set_aside], made, strict=True):
            row.movement = movement
            row.save(update_fields=["movement"])
    fresh.sent_on, fresh.reference = on, reference
    fresh.save()
    return fresh


@transaction.atomic
def not_sent(back: Return, *, by: Any, today: date) -> Return:
    """Say that the goods were not sent after all (undo): they lie aside again."""
    lock(back.boat)
    fresh = standing(
        Return.objects.select_for_update(no_key=True), back.pk, "What was said of goods going back"
    )
    if not fresh.sent_on:
        raise Refused("They were not sent.", code="not_sent")
    if fresh.entry is not None:
        reverse(fresh.entry, by=by, today=today)
    for row in fresh.lines.select_related("set_aside"):
        row.movement = None
        row.save(update_fields=["movement"])
        if row.set_aside:
            row.set_aside.closed_at = None
            row.set_aside.save(update_fields=["closed_at"])
    fresh.entry, fresh.sent_on, fresh.reference = None, None, ""
    fresh.save()
    return fresh


def left_to_refund(order: Order) -> int:
    """Return how much can still come back on an order: its cost less what came or is applied for."""
    taken = sum(credit.home for credit in order.credits.exclude(kind=CreditKind.GOODWILL))
    return order.landed - taken


def _set(credit: Credit, refund: Refund, today: date) -> None:
    order, home = credit.order, credit.boat.currency
    amount = to_minor(refund.amount, refund.currency)
    if amount <= 0:
        raise Refused("How much comes back? Type an amount above nil.", code="nothing", field="amount")
    if refund.came_on is None and refund.applied_on is None:
        raise Refused("Say when it came, or when it was applied for.", code="no_day", field="came_on")
    for day in (refund.came_on, refund.applied_on):
        if day and day > today:
            raise Refused(f"{day:%-d %b %Y} has not come yet.", code="future", field="came_on")
    if refund.currency == home:
        at_rate = amount
    elif refund.currency == order.currency:
        at_rate = converted(order, amount)
    else:
        raise Refused(f"A refund comes in {order.currency} or in {home}.", code="currency", field="currency")
    credit.kind, credit.amount, credit.currency = refund.kind, amount, refund.currency
    credit.home = at_rate if refund.came is None else to_minor(refund.came, home)
    credit.at_order_rate = at_rate
    credit.came_on, credit.applied_on = refund.came_on, refund.applied_on
    credit.reason, credit.reference = refund.reason, refund.reference
    credit.as_store_credit = refund.as_store_credit
    if credit.home <= 0:
        raise Refused("How much came? Type an amount above nil.", code="nothing", field="came")
    if max(amount, at_rate, credit.home) >= LIMIT:
        raise Refused(f"{refund.amount} is too much for one refund.", code="too_large", field="amount")
    if credit.kind == CreditKind.GOODWILL and not credit.reason:
        raise Refused("Say why they gave it.", code="no_reason", field="reason")


def _check_ceiling(credit: Credit, order: Order) -> None:
    if credit.kind == CreditKind.GOODWILL:
        return
    others = order.credits.exclude(kind=CreditKind.GOODWILL).exclude(pk=credit.pk)
    left = order.landed - sum(other.home for other in others)
    if credit.home > left:
        raise Refused(
            f"At most {from_minor(max(left, 0), order.boat.currency)} can come back on order {order.number}. "
            "If they gave more, mark it as goodwill and say why.",
            code="more_than_cost",
            field="amount",
        )


def _share(credit: Credit, lines: Sequence[Line]) -> None:
    CreditShare.objects.filter(credit=credit).delete()
    parts = allocate(credit.home, [max(line.landed - line.refunded, 0) for line in lines])
    CreditShare.objects.bulk_create(
        [
            CreditShare(boat=credit.boat, credit=credit, line=line, home=part)
            for line, part in zip(lines, parts, strict=True)
        ]
    )


def _check_back(line: Line, quantity: Decimal, holding: Holding | None) -> None:
    gone = sum((row.quantity for row in line.returns.all()), Decimal(0))
    if quantity <= 0:
        raise Refused("How many go back? Type a number above nil.", code="nothing", field="quantity")
    if quantity > line.arrived - gone:
        raise Refused(
            f"{format_quantity(line.arrived - gone)} of {line.what} came and is not sent back yet, "
            f"not {format_quantity(quantity)}.",
            code="more_than_came",
            field="quantity",
        )
    if holding is not None and line.part_id and holding.part_id != line.part_id:
        came_as = line.deliveries.filter(part=holding.part, delivery__undone_at=None).exists()
        if not came_as:
            raise Refused(f"{holding.part} did not come on this line.", code="other_part", field="holding")
