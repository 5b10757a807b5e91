"""What lies where, how much of it may be used, and what may not."""

from typing import Any

from django.db import models
from django.db.models import Q, QuerySet

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location, Where
from refit.stores.models.parts import GOOD_CONDITIONS, Lot, Part


class Level(models.TextChoices):
    NONE = "", ""
    FINE = "fine", "fine"
    LOW = "low", "low"
    GONE = "gone", "gone"
    HERE = "here", "here"


class HoldingQuerySet(models.QuerySet["Holding"]):
    def there(self) -> "HoldingQuerySet":
        """Return what really lies somewhere (a holding counted down to nil stays as a row)."""
        return self.filter(Q(quantity__gt=0) | ~Q(level__in=["", Level.GONE]))

    def aboard(self) -> "HoldingQuerySet":
        return self.filter(place__where=Where.ABOARD)


class Holding(models.Model):
    """So much of one part (and lot) in one place. Changed only by `stores.actions`."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="holdings")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="holdings")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="holdings")
    quantity = QuantityField(default=0)
    level = models.CharField(max_length=4, choices=Level, blank=True, default="")

    objects = HoldingQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                name="holding_once_lot", fields=["part", "place", "lot"], condition=Q(lot__isnull=False)
            ),
            models.UniqueConstraint(name="holding_once", fields=["part", "place"], condition=Q(lot=None)),
            models.CheckConstraint(name="holding_not_negative", condition=Q(quantity__gte=0)),
            models.CheckConstraint(name="holding_level_known", condition=Q(level__in=Level.values)),
        ]

    def __str__(self) -> str:
        return f"{self.part} in {self.place}"


class SetAside(models.Model):
    """So much of a holding that lies there but may not be used, such as goods that go back."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    holding = models.ForeignKey(Holding, on_delete=models.PROTECT, related_name="set_asides")
    quantity = QuantityField()
    why = models.CharField(max_length=120)
    made_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [models.CheckConstraint(name="set_aside_some", condition=Q(quantity__gt=0))]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.holding}: {self.why}"


def usable(holdings: "QuerySet[Holding]", on: Any) -> "QuerySet[Holding]":
    """Return the good holdings whose date has not passed on that day (the marked day itself still counts)."""
    return fit(holdings).filter(Q(lot=None) | Q(lot__expires_on=None) | Q(lot__expires_on__gte=on))


def fit(holdings: "QuerySet[Holding]") -> "QuerySet[Holding]":
    """Return the holdings of what is neither to overhaul, nor scrap, nor incomplete."""
    return holdings.filter(Q(lot=None) | Q(lot__condition__in=GOOD_CONDITIONS))
