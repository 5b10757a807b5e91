"""Deliveries: what arrived together, and what will not come."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location
from refit.buying.models.orders import Line
from refit.stores.models import Entry, Lot, Movement, Part


class Delivery(models.Model):
    """What arrived together, of one order or of several, and what will not come."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="deliveries")
    arrived_on = models.DateField()
    entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="delivery"
    )
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "deliveries"

    def __str__(self) -> str:
        return f"Arrived {self.arrived_on}"


class DeliveryLine(models.Model):
    """So much of one order line that arrived, and as what; or that won't come."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="deliveries")
    quantity = QuantityField(default=0)
    wont_come = QuantityField(default=0)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    movement = models.OneToOneField(
        Movement, on_delete=models.PROTECT, null=True, blank=True, related_name="delivery_line"
    )
    value = models.BigIntegerField(default=0, help_text="Its part of the line's landed cost")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                name="delivery_line_says_something",
                condition=Q(quantity__gte=0, wont_come__gte=0) & ~Q(quantity=0, wont_come=0),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.line}"
