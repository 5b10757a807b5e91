"""Orders: writing them down, placing them, changing them while not ordered yet, cancelling.

Also the preview: what an order would cost all in, worked out by the same rules and then thrown away.
"""

from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Max

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, Paper
from refit.boat.refusals import Refused
from refit.buying.actions.writing import (
    ChargeFacts,
    LineFacts,
    OrderFacts,
    check_day,
    make_charge,
    make_line,
    set_order,
    tax_on,
)
from refit.buying.costing import own_total, refresh
from refit.buying.models import (
    BasisChoice,
    DeliveryLine,
    Line,
    Means,
    Order,
    OrderPaper,
    OrderState,
    Payment,
    PaymentSplit,
    Share,
    Supplier,
)
from refit.calc.text import fold
from refit.stores.models import Part

# What the pages need of an order stands here together with what is done with it.
__all__ = [
    "ChargeFacts",
    "LineFacts",
    "OrderFacts",
    "add_supplier",
    "attach_paper",
    "back_to_draft",
    "cancel_order",
    "change_supplier",
    "detach_paper",
    "place_order",
    "preview",
    "share_anew",
    "tax_on",
    "throw_away",
    "uncancel_order",
    "write_order",
]


@transaction.atomic
def add_supplier(boat: Boat, name: str, **facts: Any) -> Supplier:
    """Return the supplier of this name, made if there is none."""
    lock(boat)
    there = Supplier.objects.filter(boat=boat, folded=fold(name)).first()
    return there or Supplier.objects.create(boat=boat, name=name, **facts)


@transaction.atomic
def change_supplier(supplier: Supplier, **facts: Any) -> Supplier:
    """Change what is known of a supplier."""
    lock(supplier.boat)
    name = facts.get("name", supplier.name)
    if Supplier.objects.filter(boat=supplier.boat, folded=fold(name)).exclude(pk=supplier.pk).exists():
        raise Refused(f"There is a supplier called {name} already.", code="taken", field="name")
    for key, value in facts.items():
        setattr(supplier, key, value)
    supplier.save()
    return supplier


@transaction.atomic
def write_order(boat: Boat, facts: OrderFacts, *, by: Any, today: date, order: Order | None = None) -> Order:
    """Write an order down as not ordered yet: a new one, or a draft written anew."""
    lock(boat)
    if order is None:
        newest = Order.objects.filter(boat=boat).aggregate(newest=Max("number"))["newest"] or 0
        order = Order(boat=boat, number=newest + 1, made_by=by)
    else:
        order = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
        if not order.is_draft:
            raise Refused(f"Order {order.number} was placed; its lines no longer change here.", code="placed")
    is_anew = order.pk is not None
    meant = _meant_for(order) if is_anew else {}
    set_order(order, boat, facts, today)
    order.save()
    if is_anew:
        # Deliveries that were undone say nothing any more; the ledger keeps both their entries.
        DeliveryLine.objects.filter(line__order=order).delete()
        order.lines.all().delete()
        order.charges.all().delete()
    if not facts.lines:
        raise Refused("An order has at least one line.", code="no_lines", field="lines")
    lines = [make_line(order, place, row) for place, row in enumerate(facts.lines)]
    for line in lines:
        if line.need_id is None and meant.get(_meaning(line)):
            line.need_id = meant[_meaning(line)].pop(0)
            line.save(update_fields=["need"])
    for row in facts.charges:
        make_charge(order, row, lines, today)
    refresh([order])
    _remember(order)
    return order


@transaction.atomic
def place_order(order: Order, *, on: date, today: date) -> Order:
    """Mark an order as ordered. Every line has a system by then."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if fresh.state not in (OrderState.DRAFT,):
        raise Refused(
            f"Order {fresh.number} is {fresh.get_state_display().lower()} already.", code="placed_already"
        )
    check_day(on, today, "ordered_on")
    for line in fresh.lines.all():
        if line.system_id is None:
            raise Refused(
                f"Which system is {line.what} for? Every line has one before it is ordered.",
                code="no_system",
                field="system",
            )
    fresh.state = OrderState.ORDERED
    fresh.ordered_on = on
    fresh.save()
    _card_was_charged(fresh, on)
    refresh([fresh], on=on)
    return fresh


def _card_was_charged(order: Order, on: date) -> None:
    """Write down what the card was charged as the payment that it is; it sets the rate for all it settled."""
    if order.charged is None or order.payment_splits.exists():
        return
    payment = Payment.objects.create(
        boat=order.boat,
        paid_on=on,
        means=Means.CARD,
        amount=order.charged,
        payee=order.supplier,
        with_order=True,
        entered_by=order.made_by,
    )
    PaymentSplit.objects.create(
        boat=order.boat,
        payment=payment,
        order=order,
        amount=order.charged,
        settles=None if order.currency == order.boat.currency else own_total(order),
    )


@transaction.atomic
def back_to_draft(order: Order) -> Order:
    """Take an order back to not ordered yet (undo of placing); nothing of it may have arrived."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if _has_arrived(fresh):
        raise Refused(f"Something of order {fresh.number} has arrived; undo that first.", code="arrived")
    Payment.objects.filter(splits__order=fresh, with_order=True).delete()
    if fresh.payment_splits.exists():
        raise Refused(f"Order {fresh.number} was paid; take the payment back first.", code="paid")
    check_alone(fresh)
    fresh.state = OrderState.DRAFT
    fresh.save()
    refresh([fresh])
    return fresh


@transaction.atomic
def cancel_order(order: Order, *, on: date | None = None) -> Order:
    """Cancel an order of which nothing has arrived (`on`: today unless given); it then stands in no sum."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if fresh.state == OrderState.CANCELLED:
        raise Refused(f"Order {fresh.number} is cancelled already.", code="cancelled")
    if _has_arrived(fresh):
        raise Refused(
            f"Something of order {fresh.number} has arrived. Say of the rest that it won't come.",
            code="arrived",
        )
    check_alone(fresh)
    if fresh.is_draft:
        fresh.ordered_on = None  # never placed: taken back, it is a draft again
    fresh.state = OrderState.CANCELLED
    fresh.save()
    refresh([fresh], on=on, words="cancelled")
    return fresh


@transaction.atomic
def uncancel_order(order: Order) -> Order:
    """Take back a cancellation (undo)."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if fresh.state != OrderState.CANCELLED:
        raise Refused(f"Order {fresh.number} is not cancelled.", code="not_cancelled")
    if not any(line.wanted > 0 for line in fresh.lines.all()):
        raise Refused(
            f"Nothing of order {fresh.number} is to come. Take back what was said to be not coming.",
            code="nothing_comes",
        )
    fresh.state = OrderState.ORDERED if fresh.ordered_on else OrderState.DRAFT
    fresh.save()
    refresh([fresh], words="not cancelled after all")
    return fresh


@transaction.atomic
def throw_away(order: Order) -> None:
    """Delete an order that was never placed."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if not fresh.is_draft:
        raise Refused(f"Order {fresh.number} was placed; cancel it instead.", code="placed")
    if DeliveryLine.objects.filter(line__order=fresh).exists():
        raise Refused(f"Order {fresh.number} has a past; it stays.", code="has_past")
    if fresh.payment_splits.exists():
        raise Refused(f"Order {fresh.number} was paid; take the payment back first.", code="paid")
    for attached in fresh.order_papers.select_related("paper"):
        detach_paper(attached)  # a receipt is never lost with the order it lay in
    fresh.delete()


@transaction.atomic
def attach_paper(order: Order, paper: Paper) -> OrderPaper:
    """Attach a paper to an order; it leaves the tray."""
    lock(order.boat)
    made, _ = OrderPaper.objects.get_or_create(boat=order.boat, order=order, paper=paper)
    if paper.in_tray:
        paper.in_tray = False
        paper.save(update_fields=["in_tray"])
    return made


@transaction.atomic
def detach_paper(attached: OrderPaper) -> None:
    """Take a paper off an order; it goes back into the tray."""
    lock(attached.boat)
    paper = attached.paper
    attached.delete()
    paper.in_tray = True
    paper.save(update_fields=["in_tray"])


@transaction.atomic
def share_anew(part: Part) -> None:
    """Share charges by weight anew where this part is bought: call it when the part's weight was changed."""
    lock(part.boat)
    shares = Share.objects.filter(charge__basis=BasisChoice.WEIGHT, line__part=part)
    by_weight = Order.objects.filter(pk__in=shares.values("line__order"))
    refresh(by_weight.order_by("pk"), words="weight put right, freight shared anew")


def preview(boat: Boat, facts: OrderFacts, *, by: Any, today: date) -> dict[str, Any]:
    """Return what an order would come to, line by line and in all, keeping nothing."""
    with transaction.atomic():
        save = transaction.savepoint()
        try:
            order = write_order(boat, facts, by=by, today=today)
            lines = list(order.lines.order_by("position"))
            charges = list(order.charges.order_by("id"))
            return {"order": order, "lines": lines, "charges": charges}
        finally:
            transaction.savepoint_rollback(save)


def check_alone(order: Order) -> None:
    """Refuse to let an order out of the sums while refunds, a shared bill or a paid bill hang on it."""
    if order.credits.exists() or order.returns.exists():
        raise Refused(f"Money or goods went back on order {order.number}; undo that first.", code="refunded")
    if Share.objects.filter(line__order=order, charge__order=None).exists():
        raise Refused(
            f"Order {order.number} shares a bill with other orders; take that off first.",
            code="shared_charge",
        )
    if PaymentSplit.objects.filter(charge__order=order).exists():
        raise Refused(
            f"A bill on order {order.number} was paid; take that payment back first.", code="bill_paid"
        )


def _meaning(line: Line) -> tuple[int | None, str, int | None]:
    return line.part_id, fold(line.words), line.job_id


def _meant_for(order: Order) -> dict[tuple[int | None, str, int | None], list[int]]:
    """Return the needs that a draft's lines are for, by what they are: the form that writes it anew knows none."""
    found: dict[tuple[int | None, str, int | None], list[int]] = {}
    for line in order.lines.filter(need__isnull=False).order_by("position"):
        found.setdefault(_meaning(line), []).append(line.need_id or 0)
    return found


def _remember(order: Order) -> None:
    """Keep on the supplier how they print prices, for the next order.

    Their usual carriage is in their currency; while one is known, an order in other money does not change that.
    """
    supplier = Supplier.objects.get(pk=order.supplier_id)
    has_sums = supplier.usual_freight is not None or supplier.free_freight_from is not None
    Supplier.objects.filter(pk=supplier.pk).update(
        currency=supplier.currency if has_sums and supplier.currency else order.currency,
        prices_with_tax=order.prices_with_tax,
        tax_percent=order.tax_percent,
    )


def _has_arrived(order: Order) -> bool:
    return DeliveryLine.objects.filter(line__order=order, delivery__undone_at=None, quantity__gt=0).exists()
