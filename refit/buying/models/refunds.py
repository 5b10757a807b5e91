"""Money back and goods sent back.

A refund that is only applied for counts nowhere: the cost stands until the money comes.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat
from refit.buying.models.orders import Line, Order
from refit.stores.models import Entry, Movement, SetAside


class CreditKind(models.TextChoices):
    GOODS = "goods", "Goods sent back"
    PRICE = "price", "Money off, goods kept"
    FREIGHT = "freight", "Freight"
    TAX = "tax", "Duty or tax (export, yacht in transit)"
    RETURNABLE = "back", "Deposit or exchange unit"
    GOODWILL = "goodwill", "Goodwill"


class Credit(models.Model):
    """Money back on an order: applied for, then come. What truly came counts, in the boat's currency."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="credits")
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="credits")
    kind = models.CharField(max_length=8, choices=CreditKind)
    applied_on = models.DateField(null=True, blank=True)
    came_on = models.DateField(null=True, blank=True)
    currency = models.CharField(max_length=3)
    amount = models.BigIntegerField(help_text="Minor units of its own currency")
    home = models.BigIntegerField(default=0, help_text="What truly came (or is hoped for), boat's currency")
    at_order_rate = models.BigIntegerField(
        default=0, help_text="What it would be at the order's rate; the rest is difference of exchange"
    )
    as_store_credit = models.BooleanField(default=False, help_text="It came as a balance with the supplier")
    reason = models.CharField(max_length=200, blank=True)
    reference = models.CharField(max_length=60, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(name="credit_kind_known", condition=Q(kind__in=CreditKind.values)),
            models.CheckConstraint(
                name="credit_amount_in_bounds", condition=Q(amount__gt=0) & Q(amount__lt=10**12)
            ),
            models.CheckConstraint(
                name="credit_has_a_day", condition=Q(applied_on__isnull=False) | Q(came_on__isnull=False)
            ),
            models.CheckConstraint(
                name="credit_goodwill_says_why", condition=~Q(kind=CreditKind.GOODWILL) | ~Q(reason="")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.order}"

    @property
    def exchange_difference(self) -> int:
        """Return what the exchange made of it: nil where both sums are in the boat's own money."""
        return self.home - self.at_order_rate


class CreditShare(models.Model):
    """What of a refund belongs to one line. The shares add up to the refund."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    credit = models.ForeignKey(Credit, on_delete=models.CASCADE, related_name="shares")
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="credit_shares")
    home = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(name="credit_share_once", fields=["credit", "line"])]

    def __str__(self) -> str:
        return f"{self.credit} on {self.line}"


class Return(models.Model):
    """Goods that go back: on the shelf but not usable until sent, then out of the stores."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="returns")
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="returns")
    why = models.CharField(max_length=200, blank=True)
    said_on = models.DateField()
    sent_on = models.DateField(null=True, blank=True)
    reference = models.CharField(max_length=60, blank=True)
    entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="sent_back"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"Sent back of {self.order}" if self.sent_on else f"Going back of {self.order}"


class ReturnLine(models.Model):
    """So much of one order line that goes back."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    back = models.ForeignKey(Return, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="returns")
    quantity = QuantityField()
    set_aside = models.OneToOneField(
        SetAside, on_delete=models.PROTECT, null=True, blank=True, related_name="return_line"
    )
    movement = models.OneToOneField(
        Movement, on_delete=models.PROTECT, null=True, blank=True, related_name="return_line"
    )

    class Meta:
        ordering = ["id"]
        constraints = [models.CheckConstraint(name="return_line_some", condition=Q(quantity__gt=0))]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.line} back"
