"""What the page of one order says: its lines, who bears which charge, what has come, and the next step.

Reads and words; decides nothing about what may be done. A page costs the same number of queries however long.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from refit.boat.models import Kind, Location, Paper
from refit.boat.rights import Right
from refit.buying.actions.deposits import LOST
from refit.buying.costing import line_amount
from refit.buying.models import (
    COMING_STATES,
    Charge,
    Delivery,
    DeliveryLine,
    Line,
    LineKind,
    Order,
    OrderState,
    PaymentSplit,
    PricedBy,
    RateSource,
    Share,
)
from refit.buying.reading import away_places
from refit.calc.money import from_minor, minor_digits
from refit.calc.numbers import format_quantity
from refit.calc.text import fold
from refit.pages.order_back import Back, back_of
from refit.pages.order_list import MARKS, is_late
from refit.stores.models import Holding, Unit

NIL = Decimal(0)
LINE_MARKS = {
    "arrived": "mark-ok",
    "part arrived": "mark-warn",
    "cancelled": "mark-stop",
    LOST.lower(): "mark-stop",
}


@dataclass
class LineRow:
    """One line as the page shows it."""

    line: Line
    price: str
    state: str
    mark: str
    came: str = ""


@dataclass
class ChargeRow:
    """One charge, and what each line bears of it; `borne` is what the lines of this order bear."""

    charge: Charge
    shares: list[Share] = field(default_factory=list)
    borne: int = 0

    @property
    def words(self) -> str:
        """Return how the charge is shared, and what it is in its own money where that says more."""
        charge = self.charge
        over = "over all lines" if charge.over_all else f"over {len(self.shares)} ticked"
        orders = {share.line.order_id for share in self.shares}
        if len(orders) > 1:
            over = f"over {len(self.shares)} lines of {len(orders)} orders in one parcel"
        words = [f"{charge.get_basis_display()}, {over}"]
        if charge.words and fold(charge.words) != fold(charge.get_kind_display()):
            words.insert(0, charge.get_kind_display())
        if charge.currency != charge.boat.currency:
            words.insert(0, f"{from_minor(charge.amount, charge.currency):,f} {charge.currency}")
        elif abs(self.borne) != charge.amount:
            of = "its part of " if len(orders) > 1 else ""
            words.insert(0, f"{of}{from_minor(charge.amount, charge.currency):,f}")
        if charge.reclaimable:
            words.append("comes back, so not in the cost")
        if charge.in_prices:
            words.append("in the prices already")
        if charge.payee is not None:
            words.append(f"paid to {charge.payee}")
        if charge.billed_on is not None:
            words.append(f"bill of {charge.billed_on:%-d %b %Y}")
        if charge.reference:
            words.append(charge.reference)
        if charge.expected_home is not None and not charge.expected:
            words.append(f"{from_minor(abs(charge.expected_home), charge.boat.currency):,f} was expected")
        return "; ".join(words)


@dataclass
class DeliveryRow:
    """What came one day."""

    delivery: Delivery
    lines: list[DeliveryLine] = field(default_factory=list)


@dataclass
class Sheet:
    """Everything that the page of an order shows."""

    mark: str
    late: bool
    away: Location | None  # where it lies that came no further than away
    rate: str
    next: str  # "ordered", "change", "put_away", "book_in", "job", or nothing
    lines: list[LineRow]
    charges: list[ChargeRow]
    deliveries: list[DeliveryRow]
    payments: list[PaymentSplit]
    papers: list[Paper]
    tray: list[Paper]
    paid: int
    own_goods: int  # minor units of the order's currency
    charges_sum: int
    came: int
    counting: int
    no_system: list[Line]
    unstowed: bool
    bought_here: bool
    can_cancel: bool
    can_go_back: bool
    back: Back


def sheet_of(order: Order, today: date, rights: Iterable[str]) -> Sheet:
    """Return the sheet of an order, in a fixed number of queries."""
    lines = list(
        Line.objects.filter(order=order)
        .select_related("part", "job", "system", "place", "order", "replaces__part", "replaces__order")
        .order_by("position")
    )
    charges = _charges(order)
    deliveries = _deliveries(lines)
    payments = list(PaymentSplit.objects.filter(order=order).select_related("payment"))
    live = [row for row in deliveries if not row.delivery.undone_at]
    came = any(line.arrived > 0 for line in lines)
    unstowed = _lies_unstowed(order, live)
    can_buy = Right.BUY in set(rights)
    return Sheet(
        mark=MARKS.get(OrderState(order.state), ""),
        late=is_late(order, today),
        away=away_places(order.boat, [order.pk]).get(order.pk),
        rate=rate_words(order),
        next=_next(order, lines, unstowed),
        lines=[_line_row(line) for line in lines],
        charges=charges,
        deliveries=deliveries,
        payments=payments,
        papers=list(Paper.objects.filter(order_papers__order=order).order_by("number")),
        tray=list(Paper.objects.filter(boat=order.boat, in_tray=True)[:12]) if can_buy else [],
        own_goods=sum(line_amount(line) for line in lines),
        charges_sum=order.landed - order.goods,
        paid=sum(split.amount for split in payments),
        came=sum(1 for line in lines if line.arrived > 0),
        counting=sum(1 for line in lines if line.wanted > 0),
        no_system=[line for line in lines if line.system_id is None],
        unstowed=unstowed,
        bought_here=_was_bought_here(order, live, payments),
        can_cancel=order.state in (OrderState.ORDERED, OrderState.DRAFT),
        can_go_back=order.state == OrderState.ORDERED and not came and not payments,
        back=back_of(order, lines),
    )


def _next(order: Order, lines: list[Line], unstowed: bool) -> str:
    if order.is_draft:
        return "change" if any(line.system_id is None for line in lines) else "ordered"
    if unstowed:
        return "put_away"
    if order.state in COMING_STATES:
        return "book_in"
    return "job" if order.state == OrderState.ARRIVED and order.job_id else ""


def _line_row(line: Line) -> LineRow:
    state = "cancelled" if line.order.state == OrderState.CANCELLED else line.state_words
    if state == "arrived" and line.kind == LineKind.SERVICE and line.words.startswith(LOST):
        state = LOST.lower()  # nothing came: it is what the deposit cost
    came = ""
    if line.arrived > 0 and (line.arrived != line.quantity or line.wont_come > 0):
        came = f"{format_quantity(line.arrived)} of {format_quantity(line.quantity)} came"
    if line.wont_come > 0:
        came += ("; " if came else "") + f"{format_quantity(line.wont_come)} won't come"
    mark = "" if state == "not ordered yet" else LINE_MARKS.get(state, "")
    return LineRow(line, price_words(line), "won't come" if line.wanted <= 0 else state, mark, came)


def how_many(line: Line) -> str:
    """Return a line's quantity as people say it: `2`, `4.3 m`, or `2 × 100 m`."""
    unit = "" if line.unit == Unit.EACH else f" {line.get_unit_display()}"
    if line.pack_size == 1:
        return f"{format_quantity(line.quantity)}{unit}"
    return f"{format_quantity(line.packs)} × {format_quantity(line.pack_size)}{unit}"


def price_words(line: Line) -> str:
    """Return how many at what price, as the paper has it: `2 at 412.00 SEK`, or `2 for 824.00 SEK`."""
    currency = line.order.currency
    if line.priced_by == PricedBy.TOTAL or line.packs == 1:
        return f"{how_many(line)} for {from_minor(line.amount, currency):,f} {currency}"
    least = minor_digits(currency)
    price = line.unit_price.normalize()
    places = max(least, -int(price.as_tuple().exponent))
    return f"{how_many(line)} at {price:,.{places}f} {currency}"


def rate_words(order: Order) -> str:
    """Return the rate of an order and where it came from; nothing in the boat's own currency."""
    if order.currency == order.boat.currency:
        return ""
    places = max(2, 5 - max(order.rate.adjusted(), 0))
    rate = format_quantity(round(order.rate, min(places, 8)))
    words = f"1 {order.boat.currency} = {rate} {order.currency}"
    if order.rate_source == RateSource.ECB and order.rate_on:
        return f"{words}, European Central Bank, {order.rate_on:%-d %b %Y}"
    if order.rate_source == RateSource.TYPED:
        return f"{words}, as typed"
    return f"{words}, {order.get_rate_source_display()}"


def _charges(order: Order) -> list[ChargeRow]:
    # A charge of a parcel belongs to no one order: it is found by the lines that bear it.
    bearing = Share.objects.filter(line__order=order).values("charge")
    rows = {}
    for charge in Charge.objects.filter(pk__in=bearing).select_related("payee", "boat").order_by("id"):
        rows[charge.pk] = ChargeRow(charge)
    shares = Share.objects.filter(charge__in=list(rows)).select_related("line__part", "line__order")
    for share in shares.order_by("line__order__number", "line__position"):
        row = rows[share.charge_id]
        row.shares.append(share)
        row.borne += share.home if share.line.order_id == order.pk else 0
    return list(rows.values())


def _deliveries(lines: list[Line]) -> list[DeliveryRow]:
    """Return what came of these lines, the newest first, each with only these lines of it."""
    rows: dict[int, DeliveryRow] = {}
    by_line = {line.pk: line for line in lines}
    found = (
        DeliveryLine.objects.filter(line__in=list(by_line))
        .select_related("delivery", "delivery__by", "part", "lot", "place")
        .order_by("-delivery_id", "id")
    )
    for row in found:
        row.line = by_line[row.line_id]
        rows.setdefault(row.delivery_id, DeliveryRow(row.delivery)).lines.append(row)
    return list(rows.values())


def _lies_unstowed(order: Order, deliveries: list[DeliveryRow]) -> bool:
    lots: dict[int, set[int | None]] = defaultdict(set)
    for row in deliveries:
        for line in row.lines:
            if line.part_id and line.place is not None and line.place.kind == Kind.UNSTOWED:
                lots[line.part_id].add(line.lot_id)
    lying = Holding.objects.there().filter(boat=order.boat, place__kind=Kind.UNSTOWED, part_id__in=list(lots))
    return any(lot in lots[part] for part, lot in lying.values_list("part_id", "lot_id"))


def _was_bought_here(order: Order, deliveries: list[DeliveryRow], payments: list[PaymentSplit]) -> bool:
    if len(deliveries) != 1 or len(payments) != 1:
        return False
    day: Any = order.ordered_on
    return deliveries[0].delivery.arrived_on == day and payments[0].payment.paid_on == day
