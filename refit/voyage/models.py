"""What is fitted on the boat."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.models import Boat, Location, System
from refit.stores.models import Part
from refit.work.models import Job


class GearQuerySet(models.QuerySet["Gear"]):
    def fitted(self) -> "GearQuerySet":
        return self.filter(removed_on=None)


class Gear(models.Model):
    """A thing installed on the boat: what it is, where, by which job, and until when its maker answers for it."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="gear")
    name = models.CharField(max_length=120)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="gear")
    quantity = models.PositiveSmallIntegerField(default=1)
    maker = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    serial = models.CharField(max_length=60, blank=True)
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="gear")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, null=True, blank=True, related_name="gear")
    where = models.CharField("where it is fitted", max_length=80, blank=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="gear")
    fitted_on = models.DateField(null=True, blank=True)
    warranty_until = models.DateField(null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    objects = GearQuerySet.as_manager()

    class Meta:
        ordering = ["system__group", "system__name", "name", "id"]
        verbose_name_plural = "gear"
        constraints = [
            models.CheckConstraint(name="gear_named", condition=~Q(name="")),
            models.CheckConstraint(name="gear_some", condition=Q(quantity__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name
