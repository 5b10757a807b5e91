"""Quantities as whole thousandths, so that sums in a database are exact.

Decides how fine and how large a quantity may be; does not know units.
"""

from decimal import Decimal
from fractions import Fraction

LIMIT = 10**6


def to_thousandths(quantity: Decimal) -> int:
    """Return a quantity in thousandths; ValueError beyond three decimals or from a million up."""
    if not quantity.is_finite():
        raise ValueError(f"{quantity} is not a quantity.")
    # Compared before it is scaled: 1E+999999 would fill the memory as a whole number.
    if abs(quantity) >= LIMIT:
        raise ValueError("A quantity must be below 1000000.")
    if quantity.as_tuple().exponent < -1000 and quantity:  # type: ignore[operator]
        raise ValueError("A quantity can have at most three decimals.")
    scaled = Fraction(quantity) * 1000
    if scaled.denominator != 1:
        raise ValueError("A quantity can have at most three decimals.")
    return scaled.numerator


def from_thousandths(thousandths: int) -> Decimal:
    """Return thousandths as a quantity without needless noughts and without an exponent."""
    whole, rest = divmod(abs(thousandths), 1000)
    text = f"{whole}.{rest:03d}".rstrip("0").rstrip(".")
    return Decimal(f"-{text}" if thousandths < 0 else text)
