"""Which orders to ask after, until when goods may go back or damage be claimed. Reads; a day typed on the order counts first.

To ask after: what was promised for a day that has passed, what was to be asked after by now, and goods that nobody has
named a day for (of a service alone, such as rent, none need be named). A day on which to ask again that is still to come puts an order off until then.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from django.db.models import Exists, OuterRef

from refit.boat.models import Boat
from refit.buying.models import COUNTED_STATES, DeliveryLine, Line, LineKind, Order, Promise

SOON = 30  # days ahead that a last day to go back or to claim is shown


class Why(StrEnum):
    """Why an order is to be asked after."""

    LATE = "late"
    ASK_AGAIN = "ask again"
    NO_DAY = "no day promised"


@dataclass
class Chase:
    """An order to ask after: why, what is still to come of it, and what was promised so far, the newest first."""

    order: Order
    why: Why
    late_days: int = 0
    what: list[str] = field(default_factory=list)
    jobs: list[int] = field(default_factory=list)
    promises: list[Promise] = field(default_factory=list)


@dataclass(frozen=True)
class LastDay:
    """The last day on which an order's goods may go back (`what` "go back") or damage be claimed ("claim")."""

    order: Order
    what: str
    day: date
    arrived_on: date | None
    typed: bool

    def left(self, today: date) -> int:
        return (self.day - today).days


def to_chase(boat: Boat, today: date) -> tuple[list[Chase], list[Chase]]:
    """Return the orders to ask after today, the latest first, and those put off to a day to come; three queries."""
    goods = Line.objects.filter(order=OuterRef("pk")).exclude(kind=LineKind.SERVICE)
    orders = Order.objects.coming().filter(boat=boat).annotate(has_goods=Exists(goods)).order_by("number")
    now: list[Chase] = []
    later: list[Chase] = []
    for order in orders.select_related("supplier", "job"):
        found = _chase(order, today, has_goods=order.has_goods)
        if found is not None:
            put_off = order.chase_on is not None and order.chase_on > today
            (later if put_off else now).append(found)
    _fill([*now, *later])
    now.sort(key=lambda row: (-row.late_days, row.order.chase_on or date.max, row.order.number))
    later.sort(key=lambda row: (row.order.chase_on or date.max, row.order.number))
    return now, later


def promises_of(order: Order) -> list[Promise]:
    """Return what was promised for an order, the newest first."""
    return list(Promise.objects.filter(order=order).select_related("by").order_by("-said_on", "-id"))


def last_days(boat: Boat, today: date) -> list[LastDay]:
    """Return the last days to send back or claim that have not passed and are near, the nearest first; two queries."""
    orders = Order.objects.filter(boat=boat, state__in=COUNTED_STATES).select_related("supplier")
    near = [row for row in _last_days(orders, _arrivals(boat), today) if 0 <= row.left(today) <= SOON]
    return sorted(near, key=lambda row: (row.day, row.order.number, row.what))


def last_days_of(order: Order, today: date) -> list[LastDay]:
    """Return both last days of one order, passed or not; one query."""
    days = {order.pk: list(_days_of(order))}
    return _last_days([order], days, today)


def _chase(order: Order, today: date, *, has_goods: bool) -> Chase | None:
    if order.expected_on is not None and order.expected_on < today:
        return Chase(order, Why.LATE, (today - order.expected_on).days)
    if order.chase_on is not None:
        return Chase(order, Why.ASK_AGAIN)
    if has_goods and order.expected_on is None and order.ordered_on is not None and order.ordered_on < today:
        return Chase(order, Why.NO_DAY)
    return None


def _fill(rows: list[Chase]) -> None:
    by_order = {row.order.pk: row for row in rows}
    promises = Promise.objects.filter(order__in=list(by_order)).select_related("by")
    for promise in promises.order_by("-said_on", "-id"):
        by_order[promise.order_id].promises.append(promise)
    lines = Line.objects.filter(order__in=list(by_order)).select_related("part", "job").order_by("position")
    for line in lines:
        if line.open_quantity > 0:
            row = by_order[line.order_id]
            row.what.append(line.what)
            if line.job and line.job.number not in row.jobs:
                row.jobs.append(line.job.number)


def _arrivals(boat: Boat) -> dict[int, list[date]]:
    found: dict[int, list[date]] = defaultdict(list)
    rows = DeliveryLine.objects.filter(boat=boat, delivery__undone_at=None, quantity__gt=0).order_by()
    for order, day in rows.values_list("line__order_id", "delivery__arrived_on").distinct():
        found[order].append(day)
    return found


def _days_of(order: Order) -> Iterable[date]:
    rows = DeliveryLine.objects.filter(line__order=order, delivery__undone_at=None, quantity__gt=0).order_by()
    return rows.values_list("delivery__arrived_on", flat=True).distinct()


def _last_days(orders: Iterable[Order], arrived: dict[int, list[date]], today: date) -> list[LastDay]:
    """Return the last days of some orders: as typed, else so many days after what came; of several the next to pass."""
    found = []
    for order in orders:
        terms = (
            ("go back", order.return_by, order.supplier.return_days),
            ("claim", order.claim_by, order.supplier.claim_days),
        )
        for what, typed, days in terms:
            if typed is not None:
                found.append(LastDay(order, what, typed, None, True))
            elif days is not None and arrived.get(order.pk):
                came = sorted(arrived[order.pk])
                still = [day for day in came if day + timedelta(days) >= today]
                first = still[0] if still else came[-1]
                found.append(LastDay(order, what, first + timedelta(days), first, False))
    return found
