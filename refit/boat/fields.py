"""Database fields of our own: quantities as whole thousandths.

Decides how a quantity is stored, nothing about what may be done with it.
"""

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

QUANTITY_LIMIT = Decimal(10) ** 6
STORABLE = Decimal(2**63) / 1000  # a sum may pass the limit of one quantity, never that of the column


class QuantityField(models.BigIntegerField):
    """A quantity: `Decimal` with at most three places outside, whole thousandths inside.

    Sums in SQL stay exact on every database. Do not do arithmetic with `F()` on it: lock, read, compute, save.
    """

    description = "Quantity in whole thousandths"

    # What the type checker shall think of it: a number goes in, a Decimal comes out.
    _pyi_private_set_type: Decimal | int | str  # type: ignore[assignment]
    _pyi_private_get_type: Decimal  # type: ignore[assignment]
    _pyi_lookup_exact_type: Decimal | int | str  # type: ignore[assignment]

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Decimal | None:
        return None if value is None else tidy(Decimal(int(value)) / 1000)

    def to_python(self, value: Any) -> Decimal | None:
        if value is None or value == "":
            return None
        try:
            number = Decimal(str(value))
        except ArithmeticError:
            raise ValidationError(
                "%(value)s is not a number.", code="not_a_number", params={"value": value}
            ) from None
        if not number.is_finite() or abs(number) >= STORABLE:
            raise ValidationError("%(value)s is too large.", code="too_large", params={"value": value})
        if number != number.quantize(Decimal("0.001")):
            raise ValidationError("At most three places: %(value)s.", code="places", params={"value": value})
        return tidy(number)

    def get_prep_value(self, value: Any) -> int | None:
        number = self.to_python(value)
        return None if number is None else int(number * 1000)

    @property
    def validators(self) -> list[Any]:  # those of whole numbers would compare thousandths with units
        return []

    def validate(self, value: Any, model_instance: Any) -> None:
        super().validate(value, model_instance)
        if value is not None and abs(value) >= QUANTITY_LIMIT:
            raise ValidationError("A quantity stays below a million.", code="too_large")

    def formfield(self, **kwargs: Any) -> Any:
        from django import forms

        return forms.DecimalField(decimal_places=3, required=not self.blank)


def tidy(number: Decimal) -> Decimal:
    """Return the same number without trailing zeros and without an exponent."""
    whole = number.to_integral_value()
    return whole.quantize(Decimal(1)) if number == whole else number.normalize()
