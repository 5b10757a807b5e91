"""What things drawn from stores cost: the moving average, and first in first out, replayed from what came and went.

IAS 2 Inventories, paragraph 25, allows both. Decides how a cost is carried along; knows neither parts nor places.
Quantities are exact; money is whole minor units. What came at no known cost (opening stock) stays unknown: it is
never taken for nothing.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from .money import round_half_up


@dataclass(frozen=True)
class In:
    """So much that came, and what it cost in all (None: nobody knows)."""

    quantity: Decimal
    cost: int | None


@dataclass(frozen=True)
class Out:
    """So much that went, under a key that the caller knows it by."""

    quantity: Decimal
    key: int


@dataclass(frozen=True)
class Drawn:
    """What the replay gives: the cost of each draught, what is left and its cost; None where it is not known.

    `unknown` says how much of each draught came from stock without a value.
    """

    costs: dict[int, int]
    unknown: dict[int, Decimal]
    left: Decimal
    left_cost: int
    left_unknown: Decimal


def moving_average(events: Iterable[In | Out]) -> Drawn:
    """Replay at the moving average of what has a value; cost out and cost left add up to cost in exactly.

    Stock without a value is drawn in proportion to what there is of it. Raise ValueError where more goes than is there.
    """
    known = unknown = Fraction(0)
    value = 0
    costs: dict[int, int] = {}
    without: dict[int, Decimal] = {}
    for event in events:
        quantity = Fraction(event.quantity)
        if isinstance(event, In):
            if event.cost is None:
                unknown += quantity
            else:
                known += quantity
                value += event.cost
            continue
        there = known + unknown
        if quantity > there:
            raise ValueError(f"{event.quantity} went, but only {float(there):g} was there.")
        from_known = quantity * known / there if there else Fraction(0)
        # The last of it takes the rest of the value, so that no minor unit is left behind.
        cost = value if from_known == known else round_half_up(value * from_known / known)
        costs[event.key] = costs.get(event.key, 0) + cost
        without[event.key] = without.get(event.key, Decimal(0)) + _thousandths(quantity - from_known)
        value -= cost
        known -= from_known
        unknown -= quantity - from_known
    return Drawn(costs, without, _thousandths(known + unknown), value, _thousandths(unknown))


def first_in_first_out(events: Iterable[In | Out]) -> Drawn:
    """Replay with the oldest drawn first; cost out and cost left add up to cost in exactly."""
    layers: deque[list[Fraction | int | None]] = deque()
    costs: dict[int, int] = {}
    without: dict[int, Decimal] = {}
    for event in events:
        if isinstance(event, In):
            layers.append([Fraction(event.quantity), event.cost])
            continue
        wanted = Fraction(event.quantity)
        cost, blank = 0, Fraction(0)
        while wanted > 0:
            if not layers:
                raise ValueError(f"{event.quantity} went, but less was there.")
            size, value = layers[0]
            assert isinstance(size, Fraction)
            taken = min(wanted, size)
            if value is None:
                blank += taken
            else:
                part = value if taken == size else round_half_up(Fraction(value) * taken / size)
                cost += int(part)
                layers[0][1] = int(value) - int(part)
            layers[0][0] = size - taken
            wanted -= taken
            if layers[0][0] == 0:
                layers.popleft()
        costs[event.key] = costs.get(event.key, 0) + cost
        without[event.key] = without.get(event.key, Decimal(0)) + _thousandths(blank)
    left = sum((layer[0] for layer in layers if isinstance(layer[0], Fraction)), Fraction(0))
    worth = sum(int(layer[1]) for layer in layers if layer[1] is not None)
    empty = sum(
        (layer[0] for layer in layers if layer[1] is None and isinstance(layer[0], Fraction)), Fraction(0)
    )
    return Drawn(costs, without, _thousandths(left), worth, _thousandths(empty))


def _thousandths(quantity: Fraction) -> Decimal:
    return Decimal(round_half_up(quantity * 1000)) / 1000
