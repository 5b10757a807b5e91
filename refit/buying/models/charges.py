"""Charges and their shares on lines."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from refit.boat.models import Boat
from refit.buying.models.orders import Line, Order
from refit.buying.models.suppliers import Supplier


class ChargeKind(models.TextChoices):
    FREIGHT = "freight", "Freight"
    DUTY = "duty", "Import duty"
    TAX = "tax", "Tax"
    HANDLING = "handling", "Handling"
    CARD_FEE = "card", "Card fee"
    RETURN_POST = "return", "Return postage"
    RESTOCKING = "restock", "Restocking fee"
    RETURNABLE = "back", "Deposit or exchange unit, to come back"
    DISCOUNT = "discount", "Discount"


class BasisChoice(models.TextChoices):
    VALUE = "value", "by value"
    WEIGHT = "weight", "by weight"
    COUNT = "count", "by count"


class Charge(models.Model):
    """What comes on top of (or off) the goods, shared over the lines it covers."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="charges")
    order = models.ForeignKey(
        Order,
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="charges",
        help_text="None: spread over lines of several orders that came in one parcel",
    )
    kind = models.CharField(max_length=8, choices=ChargeKind)
    words = models.CharField(max_length=120, blank=True)
    currency = models.CharField(max_length=3)
    amount = models.BigIntegerField(help_text="Minor units of its own currency; a discount is positive here")
    rate = models.DecimalField(max_digits=15, decimal_places=8, default=1)
    basis = models.CharField(max_length=6, choices=BasisChoice, default=BasisChoice.VALUE)
    over_all = models.BooleanField("over all lines", default=True)
    reclaimable = models.BooleanField(default=False)
    in_prices = models.BooleanField("already in the prices", default=False)
    expected = models.BooleanField(default=False, help_text="The bill has not come yet")
    payee = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="charges"
    )
    billed_on = models.DateField(null=True, blank=True)
    reference = models.CharField(max_length=60, blank=True)
    expected_home = models.BigIntegerField(
        null=True, blank=True, help_text="What was expected before the bill came, boat's currency"
    )
    entered_at = models.DateTimeField(default=timezone.now, editable=False)
    home = models.BigIntegerField(default=0, help_text="Boat's currency; a discount is negative")
    effect = models.BigIntegerField(default=0, help_text="What it adds to landed cost, boat's currency")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(name="charge_kind_known", condition=Q(kind__in=ChargeKind.values)),
            models.CheckConstraint(name="charge_basis_known", condition=Q(basis__in=BasisChoice.values)),
            models.CheckConstraint(name="charge_rate_positive", condition=Q(rate__gt=0)),
            models.CheckConstraint(
                name="charge_amount_in_bounds", condition=Q(amount__gte=0) & Q(amount__lt=10**12)
            ),
            models.CheckConstraint(
                name="charge_tax_marks",
                condition=Q(kind=ChargeKind.TAX) | Q(in_prices=False, reclaimable=False),
            ),
        ]

    def __str__(self) -> str:
        return self.words or self.get_kind_display()


class Share(models.Model):
    """What one line bears of one charge. The shares of a charge add up to its effect."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    charge = models.ForeignKey(Charge, on_delete=models.CASCADE, related_name="shares")
    line = models.ForeignKey(Line, on_delete=models.CASCADE, related_name="shares")
    home = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(name="share_once", fields=["charge", "line"])]

    def __str__(self) -> str:
        return f"{self.charge} on {self.line}"
