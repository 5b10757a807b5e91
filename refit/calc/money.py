"""Money as whole minor units: how many digits a currency has, rounding, sharing out, changing currency.

Decides the one rounding rule (half up, away from zero, once, at the end) and the one sharing rule (largest
remainder). Does not know rates, orders or how money is shown. Minor units come from ISO 4217, list one.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import lcm

from iso4217 import Currency


def minor_digits(currency: str) -> int:
    """Return how many digits the minor unit of a currency has; ValueError for what has none in ISO 4217."""
    try:
        exponent = Currency(currency).exponent
    except ValueError:
        raise ValueError(f"{currency!r} is not a currency; use a code such as GBP, EUR or SEK.") from None
    if exponent is None:
        raise ValueError(f"{currency} has no minor unit, so prices cannot be kept in it.")
    return int(exponent)


def round_half_up(value: Decimal | Fraction) -> int:
    """Round to a whole number, a half going away from zero, so that a refund mirrors its purchase."""
    exact = _exact(value)
    size = (2 * abs(exact.numerator) + exact.denominator) // (2 * exact.denominator)
    return size if exact >= 0 else -size


def to_minor(amount: Decimal, currency: str) -> int:
    """Return an amount in minor units, rounded half up."""
    return round_half_up(_exact(amount) * 10 ** minor_digits(currency))


def from_minor(minor: int, currency: str) -> Decimal:
    """Return minor units as an exact amount that shows all the digits of the currency."""
    digits = tuple(int(digit) for digit in str(abs(minor)))
    return Decimal((int(minor < 0), digits, -minor_digits(currency)))


def allocate(total: int, weights: Sequence[Decimal | int]) -> list[int]:
    """Share a total out by weight so that the shares add up to it exactly.

    Largest remainder (Hamilton's method): each share is rounded down and the units left over go one each to
    the largest fractions, the earlier first where they are equal. A negative total mirrors a positive one.
    A weight of nought gets nothing; if all are nought there is nothing to go by and the total is split
    equally over all. Raise ValueError for a negative weight, or for a total with nothing to share it over.
    """
    exact = [_exact(weight) for weight in weights]
    if any(weight < 0 for weight in exact):
        raise ValueError("A share cannot be worked out from a negative figure.")
    if not exact:
        if total:
            raise ValueError("There is nothing to share this amount over.")
        return []
    if not any(exact):
        exact = [Fraction(1)] * len(exact)
    # Whole weights over one denominator keep every step exact and quick.
    scale = lcm(*(weight.denominator for weight in exact))
    whole = [int(weight * scale) for weight in exact]
    amount, everything = abs(total), sum(whole)
    shares, remainders = [], []
    for weight in whole:
        share, remainder = divmod(amount * weight, everything)
        shares.append(share)
        remainders.append(remainder)
    by_remainder = sorted(range(len(whole)), key=lambda place: (-remainders[place], place))
    for place in by_remainder[: amount - sum(shares)]:
        shares[place] += 1
    return shares if total >= 0 else [-share for share in shares]


def convert(minor: int, currency: str, home: str, rate: Decimal) -> int:
    """Return minor units of `currency` in minor units of `home`, rounded half up once.

    The rate is how many units of `currency` one unit of `home` buys, such as 13.42 for SEK where home is GBP.
    """
    exact = _exact(rate)
    if exact <= 0:
        raise ValueError(f"An exchange rate of {rate} cannot be right; it must be more than nought.")
    return round_half_up(Fraction(minor) * 10 ** minor_digits(home) / (exact * 10 ** minor_digits(currency)))


def _exact(value: Decimal | Fraction | int) -> Fraction:
    if isinstance(value, Decimal) and not value.is_finite():
        raise ValueError(f"{value} is not an amount.")
    return Fraction(value)
