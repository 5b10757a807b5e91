"""Quantities as people say them."""

from decimal import Decimal

from refit.calc.numbers import format_quantity
from refit.stores.models import Part


def amount(part: Part, quantity: Decimal) -> str:
    """Return a quantity as people say it: `3`, or `4.3 m`."""
    unit = "" if part.unit == "each" else f" {part.get_unit_display()}"
    return f"{format_quantity(quantity)}{unit}"
