"""What is still to be bought is worth: the best price known, or so much of a guess.

The best price is the cheaper of the last two times that a thing was bought, all in: one old bargain does not make
the forecast too low, and one dear purchase in a hurry does not make it too high. Quantities are exact, money is
whole minor units; rounding is half up, once, at the end.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from .money import round_half_up


def best_each(bought: Sequence[tuple[int, Decimal]]) -> Fraction | None:
    """Return what one costs (minor units): the cheaper of the last two of cost in all and quantity, oldest first."""
    last = [Fraction(cost) / Fraction(quantity) for cost, quantity in bought[-2:] if quantity > 0]
    return min(last, default=None)


def worth(quantity: Decimal, each: Fraction) -> int:
    """Return what so much costs at a price for one, in whole minor units."""
    return round_half_up(Fraction(quantity) * each)


def part_of_guess(guess: int, left: Decimal, quantity: Decimal) -> int:
    """Return how much of a guess for a quantity stands for what is left of it."""
    return round_half_up(Fraction(guess) * Fraction(left) / Fraction(quantity))
