"""Who sells."""

from typing import Any

from django.db import models
from django.db.models import Q

from refit.boat.models import Boat
from refit.calc.text import fold


class Supplier(models.Model):
    """Who sells. How they print prices is remembered from their last order."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="suppliers")
    name = models.CharField(max_length=80)
    folded = models.CharField(max_length=160, editable=False)
    currency = models.CharField(max_length=3, blank=True)
    prices_with_tax = models.BooleanField(default=True)
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    web = models.CharField("web address", max_length=200, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(name="supplier_name_once", fields=["boat", "folded"]),
            models.CheckConstraint(name="supplier_name_given", condition=~Q(name="")),
            models.CheckConstraint(name="supplier_name_short", condition=Q(name__length__lte=80)),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.folded = fold(self.name)[:160]
        super().save(*args, **kwargs)
