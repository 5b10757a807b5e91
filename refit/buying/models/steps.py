"""How what an order costs came about: one row for each change, so that any earlier day can be told."""

from django.db import models

from refit.boat.models import Boat, System
from refit.buying.models.orders import Order


class CostStep(models.Model):
    """What an order came to more (or less) under one system, from a day on. Kept by `buying.steps` alone.

    The steps of an order under a system add up to the landed cost of its lines that stand in sums.
    """

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="steps")
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="+")
    counts_from = models.DateField()
    placing = models.BooleanField(default=False, help_text="What it came to when it was placed")
    words = models.CharField(max_length=120, blank=True)
    difference = models.BigIntegerField(help_text="Minor units of the boat's currency")

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(name="cost_step_boat_day", fields=["boat", "counts_from"])]

    def __str__(self) -> str:
        return f"{self.order}: {self.difference:+}"
