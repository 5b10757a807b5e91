"""What was changed on an order after it was placed: who, when, before and after."""

from django.conf import settings
from django.db import models

from refit.boat.models import Boat
from refit.buying.models.orders import Order


class Correction(models.Model):
    """One thing that was changed on a placed order. Never changed itself."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="corrections")
    made_at = models.DateTimeField(auto_now_add=True)
    made_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    what = models.CharField(max_length=120)
    before = models.CharField(max_length=300, blank=True)
    after = models.CharField(max_length=300, blank=True)
    difference = models.BigIntegerField(
        default=0, help_text="What it made of the order all in, boat's currency"
    )

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.what}: {self.before} became {self.after}"
