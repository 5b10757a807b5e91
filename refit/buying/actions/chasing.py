"""Asking after orders: what day was promised and who said so, when to ask again, until when goods may go back.

The newest promise is the day an order is expected. What the order itself said first is kept as the first of them, so that
the history is whole.
"""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.refusals import Refused
from refit.buying.actions.writing import check_day
from refit.buying.models import COMING_STATES, Order, OrderState, Promise

AS_ORDERED = "as ordered"


@dataclass(frozen=True)
class OrderDates:
    """The days an order is minded by; None says nothing."""

    chase_on: date | None = None
    return_by: date | None = None
    claim_by: date | None = None


@transaction.atomic
def promise(
    order: Order,
    day: date | None,
    *,
    who: str = "",
    said_on: date,
    chase_on: date | None = None,
    note: str = "",
    by: Any,
    today: date,
) -> Promise:
    """Write down which day somebody promised for an order (None: they don't know), and when to ask again."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if fresh.state not in COMING_STATES:
        raise Refused(
            f"Nothing of order {fresh.number} is to come: it is {fresh.get_state_display().lower()}.",
            code="not_coming",
        )
    check_day(said_on, today, "said_on")
    if fresh.ordered_on is not None and said_on < fresh.ordered_on:
        raise Refused(
            f"The order is of {fresh.ordered_on:%-d %b %Y}; nobody could say so before.",
            code="before_order",
            field="said_on",
        )
    if day is not None and (day < said_on or day.year > 2100):
        raise Refused(f"{day:%-d %b %Y} cannot be promised on {said_on:%-d %b %Y}.", code="day", field="day")
    _check_chase(chase_on, today)
    if fresh.expected_on is not None and not fresh.promises.exists():
        Promise.objects.create(
            boat=fresh.boat,
            order=fresh,
            day=fresh.expected_on,
            said_on=min(fresh.ordered_on or said_on, said_on),
            note=AS_ORDERED,
            by=fresh.made_by,
        )
    made = Promise.objects.create(
        boat=fresh.boat, order=fresh, day=day, who=who, said_on=said_on, note=note, by=by
    )
    _expect(fresh)
    fresh.chase_on = chase_on
    fresh.save(update_fields=["expected_on", "chase_on"])
    return made


@transaction.atomic
def take_back_promise(made: Promise, *, chase_on: date | None = None) -> Order:
    """Take a promise back (undo): the one before counts again, and the day to ask after it as it was."""
    lock(made.boat)
    fresh = standing(Promise.objects.all(), made.pk, "This promise")
    if fresh.note == AS_ORDERED and not fresh.who:
        raise Refused("That is what the order said; correct the order instead.", code="as_ordered")
    order = Order.objects.select_for_update(no_key=True).get(pk=fresh.order_id)
    fresh.delete()
    _expect(order)
    left = list(order.promises.all())
    if len(left) == 1 and left[0].note == AS_ORDERED:
        left[0].delete()
    order.chase_on = chase_on
    order.save(update_fields=["expected_on", "chase_on"])
    return order


@transaction.atomic
def mind_order(order: Order, dates: OrderDates, *, today: date) -> Order:
    """Set when to ask after an order, and until when its goods may go back or damage be claimed."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).get(pk=order.pk)
    if fresh.state in (OrderState.DRAFT, OrderState.CANCELLED):
        raise Refused(
            f"Order {fresh.number} is {fresh.get_state_display().lower()}; there is nothing to ask after.",
            code="not_placed",
        )
    if dates.chase_on != fresh.chase_on:
        _check_chase(dates.chase_on, today)
    for name in ("return_by", "claim_by"):
        day = getattr(dates, name)
        if (
            day is not None
            and fresh.ordered_on is not None
            and not fresh.ordered_on <= day <= date(2100, 12, 31)
        ):
            raise Refused(
                f"{day:%-d %b %Y} cannot be right: it was ordered on {fresh.ordered_on:%-d %b %Y}.",
                code="day",
                field=name,
            )
    fresh.chase_on, fresh.return_by, fresh.claim_by = dates.chase_on, dates.return_by, dates.claim_by
    fresh.save(update_fields=["chase_on", "return_by", "claim_by"])
    return fresh


def _check_chase(day: date | None, today: date) -> None:
    if day is not None and not today <= day <= date(2100, 12, 31):
        raise Refused(
            f"Ask again on {day:%-d %b %Y}? Give a day from today on.", code="chase", field="chase_on"
        )


def _expect(order: Order) -> None:
    """Set the day an order is expected to the newest promise, by the day it was said; none knows none."""
    newest = order.promises.order_by("said_on", "id").last()
    order.expected_on = newest.day if newest else None
