"""What orders cost all in: the only place where the stored sums of buying are set.

Converts each order, shares every charge over its lines by `refit.calc.landed` (lines of several orders, where a
parcel held them), values what arrived, takes off what came back, and sets the state of each order. Decides nothing
about what may be entered.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import Sum

from refit.boat.refusals import Refused
from refit.buying.models import (
    COUNTED_STATES,
    Charge,
    ChargeKind,
    CreditShare,
    DeliveryLine,
    Line,
    LineKind,
    Order,
    OrderState,
    PaymentSplit,
    RateSource,
    Share,
)
from refit.buying.steps import keep
from refit.buying.storing import store
from refit.calc.landed import (
    Basis,
    ChargeCost,
    LineCost,
    MissingWeight,
    delivered_value,
    goods_in_home,
    landed_effect,
    share,
)
from refit.calc.money import allocate, convert, round_half_up

NIL = Decimal(0)
MOST = 10**14  # minor units of the boat's currency: thousands of such still fit a sum
STORED = ("state", "goods", "landed", "delivered", "refunded")  # what an order keeps of its sums


@dataclass(frozen=True)
class Settled:
    """What payments settled of an order: so much in its own currency, for so much of the boat's."""

    own: int = 0
    home: int = 0


@dataclass(frozen=True)
class Worth:
    """What the lines and own charges of one order come to in the boat's currency, before sharing."""

    goods: list[int]
    charges: list[int]
    final: bool  # no part of it hangs on a rate that is not final yet


def line_amount(line: Line) -> int:
    """Return what a line costs in the order's currency for what is still bought of it."""
    if line.wont_come <= 0:
        return line.amount
    if line.wanted <= 0:
        return 0
    return round_half_up(Fraction(line.amount) * Fraction(line.wanted) / Fraction(line.quantity))


def worth(order: Order, home: str, lines: list[Line], charges: list[Charge], settled: Settled) -> Worth:
    """Convert an order. What was truly paid wins over the rate, to the last minor unit, for what it settled."""
    bought = [line_amount(line) for line in lines]
    own = [_signed(charge, charge.amount) if _in_own_money(charge, order) else 0 for charge in charges]
    total = sum(bought) + sum(own)
    if order.currency == home or min(settled.own, total) <= 0:
        values = [_by_rate(charge, order, home) for charge in charges]
        return Worth(goods_in_home(bought, order.currency, home, order.rate), values, order.currency == home)
    all_home = _all_home(order, home, total, settled)
    values, so_far, bearing = [], 0, 0
    for charge, amount in zip(charges, own, strict=True):
        if not _in_own_money(charge, order):
            values.append(_by_rate(charge, order, home))
            continue
        # The running sum is rounded, so that several halves never round up to more than there is.
        so_far, before = so_far + amount, bearing
        bearing = round_half_up(Fraction(so_far) * all_home / total)
        values.append(bearing - before)
    return Worth(allocate(all_home - bearing, bought), values, settled.own >= total)


def _all_home(order: Order, home: str, total: int, settled: Settled) -> int:
    """Return what the seller's bill comes to in the boat's currency, where payments settled some of it."""
    if total >= settled.own:
        rest = convert(total - settled.own, order.currency, home, order.rate) if total > settled.own else 0
        return settled.home + rest
    # More was paid than is bought now: what is bought costs its part, the rest was paid too much.
    return round_half_up(Fraction(settled.home) * total / settled.own)


def converted(order: Order, amount: int) -> int:
    """Convert an amount of an order's own money as the order itself is: at what was truly paid, else at its rate."""
    home = order.boat.currency
    settled, total = settled_of([order]).get(order.pk, Settled()), own_total(order)
    if order.currency == home or min(settled.own, total) <= 0:
        return convert(amount, order.currency, home, order.rate)
    return round_half_up(Fraction(amount) * _all_home(order, home, total, settled) / total)


def own_total(order: Order) -> int:
    """Return what the seller's bill comes to, minor units of the order's currency."""
    charges = [charge for charge in order.charges.all() if _in_own_money(charge, order)]
    return sum(line_amount(line) for line in order.lines.all()) + sum(
        _signed(charge, charge.amount) for charge in charges
    )


def _in_own_money(charge: Charge, order: Order) -> bool:
    """Return whether the seller's own bill holds this charge, so that the card paid it with the goods."""
    return charge.currency == order.currency and not charge.in_prices and charge.payee_id is None


def _signed(charge: Charge, value: int) -> int:
    return -value if charge.kind == ChargeKind.DISCOUNT else value


def _by_rate(charge: Charge, order: Order, home: str) -> int:
    """Convert a charge at its order's rate; a bill of another day or payee has a rate of its own."""
    follows = charge.currency == order.currency and charge.billed_on is None and charge.payee_id is None
    rate = order.rate if follows else charge.rate
    return _signed(charge, convert(charge.amount, charge.currency, home, rate))


def settled_of(orders: Iterable[Order]) -> dict[int, Settled]:
    """Return what payments settled of each order."""
    rows = (
        PaymentSplit.objects.filter(order__in=[order.pk for order in orders], settles__isnull=False)
        .order_by()
        .values_list("order_id")
        .annotate(own=Sum("settles"), home=Sum("amount"))
    )
    found = {pk: Settled(own, home) for pk, own, home in rows}
    for order in orders:
        foreseen = order.is_draft and order.rate_source == RateSource.CHARGED
        if foreseen and order.pk not in found and order.charged is not None:
            # Not placed yet: what the card will be charged stands for the payment to come.
            found[order.pk] = Settled(own_total(order), order.charged)
    return found


def refresh(orders: Iterable[Order], *, on: date | None = None, words: str = "") -> None:
    """Work out anew what these orders (and those that share a charge with them) come to, and save it.

    What changed is kept as a step of the day `on` (today unless given), under `words` that say why.
    """
    given = list(orders)
    ids, bearing = _together(given)
    group = _read(ids)
    if not group:
        return
    home = group[0].boat.currency
    lines = list(Line.objects.filter(order__in=ids).select_related("part").order_by("order_id", "position"))
    by_pk = {order.pk: order for order in group}
    by_order: dict[int, list[Line]] = defaultdict(list)
    for line in lines:
        line.order = by_pk[line.order_id]
        by_order[line.order_id].append(line)
    charges = list(Charge.objects.filter(pk__in=bearing).order_by("id")) if bearing else []
    settled = settled_of(group)
    for order in group:
        mine = by_order[order.pk]
        own = [charge for charge in charges if charge.order_id == order.pk]
        result = worth(order, home, mine, own, settled.get(order.pk, Settled()))
        _check_size([*result.goods, *result.charges])
        for line, goods in zip(mine, result.goods, strict=True):
            line.goods, line.charges = goods, 0
        for charge, value in zip(own, result.charges, strict=True):
            charge.home = value
    for charge in charges:
        if charge.order_id is None:
            charge.home = _signed(charge, convert(charge.amount, charge.currency, home, charge.rate))
            _check_size([charge.home])
    _share(charges, lines)
    _settle_lines(group, by_order)
    keep(group, by_order, on=on, words=words)
    for order in given:  # who asked sees the sums too, whatever else their copy says
        for name in STORED:
            setattr(order, name, getattr(by_pk[order.pk], name))


def _check_size(values: Iterable[int]) -> None:
    if any(abs(value) >= MOST for value in values):
        raise Refused(
            "That comes to more than can be right in the boat's own money. Look at the rate.",
            code="too_large",
            field="rate",
        )


def connected(orders: Iterable[Order]) -> list[Order]:
    """Return these orders and all that hang together with them by a charge that was shared over several."""
    return _read(_together(orders)[0])


def _read(ids: set[int]) -> list[Order]:
    return list(Order.objects.filter(pk__in=ids).select_related("boat").order_by("pk"))


def _together(orders: Iterable[Order]) -> tuple[set[int], set[int]]:
    """Return which orders hang together with these by shared charges, and which charges bear on their lines."""
    ids = {order.pk for order in orders}
    while True:
        charges = _charges_on(ids)
        shares = Share.objects.filter(charge__in=charges)
        more = set(shares.values_list("line__order_id", flat=True)) if charges else set()
        if more <= ids:
            return ids, charges
        ids |= more


def _charges_on(orders: set[int]) -> set[int]:
    """Return which charges bear on these orders' lines.

    Asked for by itself: in one query with what is wanted of them, PostgreSQL took seconds where it had no statistics.
    """
    return set(Share.objects.filter(line__order__in=orders).order_by().values_list("charge_id", flat=True))


def _share(charges: list[Charge], lines: list[Line]) -> None:
    by_pk = {line.pk: line for line in lines}
    costs = [line_cost(line) for line in lines]
    if not charges:
        return
    rows: dict[int, list[Share]] = defaultdict(list)
    for row in Share.objects.filter(charge__in=charges).order_by("line__order_id", "line__position"):
        rows[row.charge_id].append(row)
    live = {line.pk for line in lines if line.wanted > 0}
    for charge in charges:
        cost = charge_cost(charge, charge.home, rows[charge.pk], live)
        charge.effect = landed_effect(cost)
        try:
            borne = share(cost, costs)
        except MissingWeight as problem:
            names = ", ".join(line.what for line in lines if line.pk in problem.keys)
            raise Refused(
                f"Sharing by weight needs a weight for {names}. Type it, or share by value or by count.",
                code="missing_weight",
                field="basis",
            ) from None
        for row in rows[charge.pk]:
            row.home = borne.get(row.line_id, 0)
            by_pk[row.line_id].charges += row.home
    store(charges, ["home", "effect"])
    store([row for some in rows.values() for row in some], ["home"])


def _settle_lines(group: list[Order], by_order: dict[int, list[Line]]) -> None:
    back = refunded(line.pk for lines in by_order.values() for line in lines)
    everything: list[Line] = []
    for order in group:
        lines = by_order[order.pk]
        order.state = state_of(order, lines)
        for line in lines:
            line.landed = line.goods + line.charges
            line.refunded = back.get(line.pk, 0)
            line.counted = order.state in COUNTED_STATES and stands(line)
            line.delivered = delivered_value(line.landed, line.arrived, line.wanted) if line.counted else 0
        order.goods = sum(line.goods for line in lines)
        order.landed = sum(line.landed for line in lines)
        order.delivered = sum(line.delivered for line in lines)
        order.refunded = sum(line.refunded for line in lines)
        everything += lines
    store(everything, ["counted", "goods", "charges", "landed", "delivered", "refunded"])
    store(group, STORED)
    _save_deliveries(everything)


def stands(line: Line) -> bool:
    """Return whether a line of a placed order is in sums: it is bought, bears a charge, or money came back on it.

    A charge for lines that won't come stays with them, and so does a refund: neither is lost from the sums.
    """
    return bool(line.wanted > 0 or line.landed or line.refunded)


def refunded(lines: Iterable[int]) -> dict[int, int]:
    """Return what truly came back on each line."""
    rows = (
        CreditShare.objects.filter(line__in=list(lines), credit__came_on__isnull=False)
        .order_by()
        .values_list("line_id")
        .annotate(total=Sum("home"))
    )
    return dict(rows)


def line_cost(line: Line) -> LineCost:
    """Return a line as sharing sees it: its goods, its weight (of all that is bought) and its count."""
    each = line.part.weight_kg if line.part else None
    if line.kind == LineKind.SERVICE or line.wanted <= 0:
        weight: Decimal | None = NIL  # work weighs nothing, nor does what never comes
    else:
        weight = None if each is None else each * line.wanted
    count = NIL if line.wanted <= 0 else line.packs * line.wanted / line.quantity
    return LineCost(line.pk, line.goods, weight, count)


def charge_cost(charge: Charge, home: int, shares: list[Share], live: set[int]) -> ChargeCost:
    """Return a charge as sharing sees it, over those of its lines that still come."""
    covers = tuple(row.line_id for row in shares if row.line_id in live)
    return ChargeCost(
        charge.pk,
        home,
        Basis(charge.basis),
        covers or tuple(row.line_id for row in shares),
        reclaimable=charge.reclaimable,
        in_prices=charge.in_prices,
    )


def _save_deliveries(lines: list[Line]) -> None:
    """Give each delivery its part of the landed cost: the difference of two cumulative values.

    What stays on a line that was given up whole (a charge) is settled by the paper that gave up the last of it.
    """
    by_pk = {line.pk: line for line in lines}
    rows = list(
        DeliveryLine.objects.filter(line__in=list(by_pk), delivery__undone_at=None).order_by(
            "delivery__arrived_on", "id"
        )
    )
    came: dict[int, Decimal] = defaultdict(lambda: NIL)
    gone: dict[int, Decimal] = defaultdict(lambda: NIL)
    before: dict[int, int] = defaultdict(int)
    for row in rows:
        line = by_pk[row.line_id]
        came[line.pk] += row.quantity
        gone[line.pk] += row.wont_come
        waits = line.wanted <= 0 and gone[line.pk] < line.wont_come
        now = 0 if waits else delivered_value(line.landed, came[line.pk], line.wanted)
        row.value, before[line.pk] = now - before[line.pk], now
    store(rows, ["value"])


def state_of(order: Order, lines: list[Line]) -> str:
    """Return the state that an order is in, from its lines."""
    if order.state == OrderState.DRAFT:
        return OrderState.DRAFT
    if order.state == OrderState.CANCELLED and not any(line.arrived for line in lines):
        return OrderState.CANCELLED
    if lines and all(line.wanted <= 0 for line in lines):
        return OrderState.CANCELLED
    came = [line for line in lines if line.arrived > 0]
    if came and all(line.arrived >= line.wanted for line in lines):
        return OrderState.ARRIVED
    return OrderState.PART_ARRIVED if came else OrderState.ORDERED
