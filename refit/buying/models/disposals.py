"""Old gear that left the boat: sold, given away or bartered. Outside what was ordered, so that it hides no overrun."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.models import Boat, System
from refit.stores.models import Part


class DisposalKind(models.TextChoices):
    SOLD = "sold", "Sold"
    GIVEN = "given", "Given away"
    BARTERED = "barter", "Bartered"


class Disposal(models.Model):
    """What was sold or given, to whom, for how much (boat's currency), of which system."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="disposals")
    kind = models.CharField(max_length=6, choices=DisposalKind, default=DisposalKind.SOLD)
    what = models.CharField(max_length=120)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="disposals")
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="disposals")
    buyer = models.CharField("to whom", max_length=80, blank=True)
    happened_on = models.DateField()
    amount = models.BigIntegerField(default=0)
    note = models.CharField(max_length=300, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-happened_on", "-id"]
        constraints = [
            models.CheckConstraint(name="disposal_kind_known", condition=Q(kind__in=DisposalKind.values)),
            models.CheckConstraint(
                name="disposal_amount_in_bounds", condition=Q(amount__gte=0) & Q(amount__lt=10**12)
            ),
            models.CheckConstraint(
                name="disposal_gift_is_free", condition=~Q(kind=DisposalKind.GIVEN) | Q(amount=0)
            ),
            models.CheckConstraint(name="disposal_says_what", condition=~Q(what="")),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.what}"
