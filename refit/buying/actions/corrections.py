"""Correcting an order after it was placed, with who, when, before and after.

Never below what has arrived or was refunded; a part is fixed once some of it has arrived; job, system, place and prices are free.
Landed costs follow at once.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Sum

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Location, System
from refit.boat.refusals import Refused
from refit.buying.actions.payments import check_balance
from refit.buying.actions.writing import LineFacts, build_line, check_day, checked_rate, make_line
from refit.buying.costing import connected, refresh
from refit.buying.models import (
    COUNTED_STATES,
    Charge,
    Correction,
    Credit,
    CreditKind,
    DeliveryLine,
    Line,
    Order,
    PaymentSplit,
    RateSource,
    Share,
    Supplier,
)
from refit.calc.money import from_minor
from refit.calc.numbers import format_quantity
from refit.stores.models import Part
from refit.work.models import Job


@dataclass(frozen=True)
class Head:
    """What an order says of itself, as corrected."""

    supplier: Supplier
    ordered_on: date
    expected_on: date | None = None
    reference: str = ""
    note: str = ""
    rate: Decimal | None = None  # None: as it is


@dataclass(frozen=True)
class LineChange:
    """A line as corrected; without `line` it is one more."""

    facts: LineFacts
    line: Line | None = None
    second_hand: bool = False
    gift_value: int | None = None
    replaces: Line | None = None


@transaction.atomic
def correct_order(
    order: Order,
    head: Head,
    lines: Sequence[LineChange],
    *,
    by: Any,
    today: date,
    why: str = "",
    seen: int | None = None,
) -> list[Correction]:
    """Correct a placed order; lines that are not given are taken off. Return what was changed.

    `seen` is how many corrections were on record when the order was read; with more by now, this would undo another's.
    """
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).select_related("boat", "supplier").get(pk=order.pk)
    if fresh.state not in COUNTED_STATES:
        raise Refused(
            f"Order {fresh.number} is {fresh.get_state_display().lower()}; change it as a draft.",
            code="not_placed",
        )
    if seen is not None and seen != fresh.corrections.count():
        raise Refused(
            f"Somebody changed order {fresh.number} meanwhile. Open it again, and repeat what is still right.",
            code="corrected_meanwhile",
        )
    if not lines:
        raise Refused("An order keeps at least one line; cancel it instead.", code="no_lines", field="lines")
    before, seller = fresh.landed, fresh.supplier
    together = connected([fresh])  # a line that is taken off may be what holds them together
    changes = _correct_head(fresh, head, today)
    kept = {change.line.pk for change in lines if change.line is not None}
    for line in fresh.lines.exclude(pk__in=kept):
        changes.append(take_off(line))
    for change in lines:
        changes += _correct_line(fresh, change)
    if not changes:
        return []
    refresh([fresh, *together], on=today, words="corrected")
    check_refunds([fresh])
    check_paid_bills([fresh])
    for supplier in {seller, fresh.supplier}:  # store credit goes with its order
        check_balance(supplier)
    fresh.refresh_from_db()
    notes = [note(fresh, what, old, new, 0, by=by, on=today) for what, old, new in changes if old != new]
    if notes and fresh.landed != before:
        # The difference belongs to the correction as a whole; it stands with its first change.
        notes[0].difference = fresh.landed - before
        notes[0].save(update_fields=["difference"])
    if why and notes:
        note(fresh, "Why", "", why, 0, by=by, on=today)
    return notes


def check_refunds(orders: Iterable[Order]) -> None:
    """Refuse what would leave an order costing less than has come back or is applied for.

    Also one that hangs together with these by a shared bill: its part of that changes with theirs.
    """
    ids = [order.pk for order in connected(orders)]
    credits = Credit.objects.filter(order__in=ids).exclude(kind=CreditKind.GOODWILL)
    taken = dict(credits.order_by().values_list("order_id").annotate(total=Sum("home")))
    for order in Order.objects.filter(pk__in=ids).select_related("boat"):
        # Of an order that is cancelled nothing stands in the sums, so nothing can have come back on it.
        cost = max(order.landed, 0) if order.state in COUNTED_STATES else 0
        if taken.get(order.pk, 0) > cost:
            raise Refused(
                f"{from_minor(taken[order.pk], order.boat.currency)} came back or is applied for on order "
                f"{order.number}, more than it would cost. Take that refund back first.",
                code="below_refunded",
            )


def check_paid_bills(orders: Iterable[Order]) -> None:
    """Refuse what would leave a bill that was paid on no line that stands in the sums."""
    # Three plain questions: as one with NOT EXISTS over five tables, PostgreSQL took minutes of a fresh boat.
    touching = Share.objects.filter(line__order__in=[order.pk for order in orders])
    charges = set(touching.values_list("charge", flat=True))
    paid = set(PaymentSplit.objects.filter(charge__in=charges).values_list("charge", flat=True))
    borne = Share.objects.filter(charge__in=paid, line__counted=True)
    for charge in Charge.objects.filter(pk__in=paid - set(borne.values_list("charge", flat=True))):
        raise Refused(
            f"The bill for {charge} was paid, and nothing would be left that it is for. "
            "Take that payment back first.",
            code="bill_paid",
        )


def note(
    order: Order, what: str, before: str, after: str, difference: int, *, by: Any, on: date
) -> Correction:
    """Write down one thing that was changed on a placed order."""
    return Correction.objects.create(
        boat=order.boat,
        order=order,
        by=by,
        made_on=on,
        what=what[:120],
        before=before[:300],
        after=after[:300],
        difference=difference,
    )


Change = tuple[str, str, str]
TYPED = (
    *("part", "words", "kind", "packs", "pack_size", "quantity"),
    *("priced_by", "unit_price", "amount"),
)
WITH = ("part", "job", "system", "place", "order__boat", "replaces__part", "replaces__order")


def _correct_head(order: Order, head: Head, today: date) -> list[Change]:
    check_day(head.ordered_on, today, "ordered_on")
    changes: list[Change] = []
    for name, what in (
        ("supplier", "Supplier"),
        ("ordered_on", "Ordered on"),
        ("expected_on", "Expected on"),
        ("reference", "Reference"),
        ("note", "Note"),
    ):
        old, new = getattr(order, name), getattr(head, name)
        if old != new:
            changes.append((what, str(old or ""), str(new or "")))
            setattr(order, name, new)
    if head.rate is not None and head.rate != order.rate:
        if order.currency == order.boat.currency:
            raise Refused("An order in the boat's own money has no rate.", code="rate", field="rate")
        changes.append(("Rate", f"{order.rate.normalize():f}", f"{head.rate.normalize():f}"))
        order.rate, order.rate_source, order.rate_on = checked_rate(head.rate), RateSource.TYPED, None
    order.save()
    return changes


def take_off(line: Line) -> Change:
    """Take a line off its order; what has a past, or alone bears a bill, stays."""
    came = line.arrived > 0 or DeliveryLine.objects.filter(line=line).exists()
    if came or line.credit_shares.exists() or line.returns.exists():
        raise Refused(f"{line.what} has arrived or was refunded; it stays on the order.", code="arrived")
    if line.replaced_by.exists():
        raise Refused(f"Another line takes the place of {line.what}; it stays.", code="replaced")
    for share in Share.objects.filter(line=line).select_related("charge"):
        if share.charge.shares.count() == 1:
            raise Refused(
                f"{share.charge} is for {line.what} alone; take that off first.",
                code="only_line",
                field="lines",
            )
    change = (f"Line {line.position + 1}", _words(line), "taken off")
    line.delete()
    return change


def _correct_line(order: Order, change: LineChange) -> list[Change]:
    facts = change.facts
    if change.line is None:
        position = max(order.lines.values_list("position", flat=True), default=-1) + 1
        made = make_line(order, position, facts)
        _mark(made, change)
        for charge in order.charges.filter(over_all=True):
            Share.objects.create(boat=order.boat, charge=charge, line=made)
        if made.system_id is None:
            raise Refused(f"Which system is {made.what} for?", code="no_system", field="system")
        return [(f"Line {position + 1}", "", _words(made))]
    rows = Line.objects.filter(order=order).select_related(*WITH)
    line = standing(rows, change.line.pk, "A line of this order")
    old = _facts(line)
    built = build_line(order, line.position, facts)
    quantity = built.quantity
    # More than was ordered may have come; the order may say so, or stay as it is.
    if quantity != line.quantity and quantity < line.arrived + line.wont_come:
        raise Refused(
            f"{format_quantity(line.arrived)} of {line.what} came; the order cannot be for {format_quantity(quantity)}.",
            code="below_arrived",
            field="packs",
        )
    same = facts.part == line.part and (facts.part is not None or facts.words == line.words)
    if not same and line.arrived > 0:
        raise Refused(
            f"Some of {line.what} came; what it is stays as it is.", code="part_fixed", field="what"
        )
    _set_line(line, built, facts)
    if line.system_id is None:
        raise Refused(f"Which system is {line.what} for?", code="no_system", field="system")
    line.save()
    _mark(line, change)
    new = _facts(line)
    return [
        (f"Line {line.position + 1}, {name}", old[name], new[name]) for name in old if old[name] != new[name]
    ]


def _set_line(line: Line, built: Line, facts: LineFacts) -> None:
    for name in TYPED:
        setattr(line, name, getattr(built, name))
    if built.part:
        line.unit = built.unit  # of words, no form says the unit
    line.job, line.place = facts.job, facts.place
    line.system = facts.system or (facts.job.system if facts.job else None)


def _mark(line: Line, change: LineChange) -> None:
    line.second_hand, line.gift_value, line.replaces = change.second_hand, change.gift_value, change.replaces
    line.save(update_fields=["second_hand", "gift_value", "replaces"])


def _facts(line: Line) -> dict[str, str]:
    part: Part | None = line.part
    job: Job | None = line.job
    system: System | None = line.system
    place: Location | None = line.place
    old: Line | None = line.replaces
    home = line.order.boat.currency
    return {
        "what": part.name if part else line.words,
        "how many": format_quantity(line.quantity),
        "price": f"{line.unit_price.normalize():f}",
        "in all": str(from_minor(line.amount, line.order.currency)),
        "job": str(job.number) if job else "none",
        "system": system.name if system else "none",
        "place": place.plate if place else "none",
        "second-hand": "yes" if line.second_hand else "no",
        "worth as a gift": "" if line.gift_value is None else str(from_minor(line.gift_value, home)),
        "takes the place of": f"order {old.order.number}, {old.what}" if old else "",
    }


def _words(line: Line) -> str:
    return f"{format_quantity(line.quantity)} × {line.what}, {from_minor(line.amount, line.order.currency)}"
