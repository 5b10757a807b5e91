"""What jobs want from the stores."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from refit.boat.fields import QuantityField
from refit.boat.models import Boat
from refit.stores.models.parts import Part
from refit.work.models import Job


class NeedQuerySet(models.QuerySet["Need"]):
    def open(self) -> "NeedQuerySet":
        return self.filter(met_at=None)


class Need(models.Model):
    """So much of a part that a job wants."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="needs")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="needs")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="needs")
    words = models.CharField(max_length=200, blank=True)
    quantity = QuantityField(default=1)
    guess = models.BigIntegerField(
        null=True, blank=True, help_text="What all of it may cost, boat's currency, as guessed"
    )
    made_on = models.DateField(default=timezone.localdate, help_text="The day it was put on the list")
    met_at = models.DateTimeField(null=True, blank=True)

    objects = NeedQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                name="need_guess_in_bounds", condition=Q(guess=None) | (Q(guess__gte=0) & Q(guess__lt=10**12))
            ),
            models.CheckConstraint(name="need_more_than_nothing", condition=Q(quantity__gt=0)),
            models.CheckConstraint(name="need_says_what", condition=~Q(part=None, words="")),
        ]

    def __str__(self) -> str:
        return self.part.name if self.part else self.words
