"""What a bought line costs all in: its goods plus its shares of freight, duty, tax, fees and discounts.

Decides what counts as cost (IAS 2 Inventories, paragraphs 10 and 11: the price, import duty, taxes that
cannot be reclaimed, transport, handling and whatever else brings the goods here; trade discounts come off)
and how a charge is shared over lines. All amounts are whole minor units of the home currency. Does not know
orders or payments.
"""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from .money import allocate, convert, round_half_up


class Basis(StrEnum):
    """What a charge is shared by."""

    VALUE = "value"
    WEIGHT = "weight"
    COUNT = "count"


@dataclass(frozen=True)
class LineCost:
    """One line as sharing needs it; `weight_kg` and `count` are those of the whole line, not of one piece."""

    key: Hashable
    goods: int
    weight_kg: Decimal | None
    count: Decimal


@dataclass(frozen=True)
class ChargeCost:
    """One charge over the lines it covers; a discount is negative.

    `reclaimable` money comes back and is no cost. `in_prices` says the lines' prices hold it already.
    """

    key: Hashable
    amount: int
    basis: Basis
    covers: tuple[Hashable, ...]
    reclaimable: bool = False
    in_prices: bool = False


@dataclass(frozen=True)
class Landed:
    """What a line cost: its goods, and its shares of all charges."""

    key: Hashable
    goods: int
    charges: int

    @property
    def landed(self) -> int:
        """Return the cost all in."""
        return self.goods + self.charges


class MissingWeight(ValueError):
    """A charge is shared by weight and some lines have none; `keys` says which."""

    def __init__(self, keys: tuple[Hashable, ...]) -> None:
        lines = "1 line has" if len(keys) == 1 else f"{len(keys)} lines have"
        super().__init__(f"{lines} no weight; fill it in, or share this charge by value or by count.")
        self.keys = keys


def landed_effect(charge: ChargeCost) -> int:
    """Return what a charge adds to cost.

    Tax inside the prices changes nothing if it stays paid, and comes off if it is reclaimed.
    """
    borne = 0 if charge.reclaimable else charge.amount
    return borne - (charge.amount if charge.in_prices else 0)


def share(charge: ChargeCost, lines: Iterable[LineCost]) -> dict[Hashable, int]:
    """Return each covered line's share of what a charge adds to cost; the shares add up to it exactly.

    Ties go to the earlier of `lines`. Raise MissingWeight, or ValueError if it covers a line that is not
    there.
    """
    wanted = set(charge.covers)
    covered = [line for line in lines if line.key in wanted]
    if len(covered) != len(wanted):
        raise ValueError("A charge covers a line that is not there, or is there twice.")
    if charge.basis == Basis.WEIGHT:
        weights = _weights(covered)
    elif charge.basis == Basis.COUNT:
        weights = [line.count for line in covered]
    else:
        weights = [Decimal(line.goods) for line in covered]
    shares = allocate(landed_effect(charge), weights)
    return {line.key: part for line, part in zip(covered, shares, strict=True)}


def goods_in_home(amounts: Sequence[int], currency: str, home: str, rate: Decimal) -> list[int]:
    """Return line amounts in home money: the sum is converted once and the lines add up to it exactly.

    The rate is units of `currency` for one unit of `home`. Raise ValueError for a negative line.
    """
    if any(amount < 0 for amount in amounts):
        raise ValueError("A line cannot cost less than nought; enter money off as a discount.")
    return allocate(convert(sum(amounts), currency, home, rate), amounts)


def landed(lines: Sequence[LineCost], charges: Iterable[ChargeCost]) -> dict[Hashable, Landed]:
    """Return what each line cost all in; together they are the goods and the effect of every charge."""
    sums = {line.key: 0 for line in lines}
    if len(sums) != len(lines):
        raise ValueError("A line is there twice.")
    for charge in charges:
        for key, part in share(charge, lines).items():
            sums[key] += part
    return {line.key: Landed(line.key, line.goods, sums[line.key]) for line in lines}


def delivered_value(landed: int, arrived: Decimal, ordered: Decimal) -> int:
    """Return how much of a line's landed cost has arrived, in all and so far, rounded half up.

    It is cumulative: the value of one delivery is the difference of two calls, so that all of them add up
    to the landed cost. More than ordered is worth no more than was paid. Where nothing is wanted any more, all
    that there is to come has come: a charge that stays is not waited for.
    """
    if arrived < 0 or ordered < 0:
        raise ValueError("Quantities ordered and arrived cannot be negative.")
    if arrived >= ordered:
        return landed
    return round_half_up(Fraction(landed) * Fraction(arrived) / Fraction(ordered))


def _weights(covered: Sequence[LineCost]) -> list[Decimal]:
    missing = tuple(line.key for line in covered if line.weight_kg is None)
    if missing:
        raise MissingWeight(missing)
    return [line.weight_kg for line in covered if line.weight_kg is not None]
