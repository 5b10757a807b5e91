"""Doing a job: hours, what was taken apart and bagged, and how the job was done."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.models import Boat, Location
from refit.work.models.jobs import Job


class Hours(models.Model):
    """Own work on a job on a day, of one person: a member, or a helper by name."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="hours")
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    helper = models.CharField("helper without an account", max_length=60, blank=True)
    day = models.DateField()
    minutes = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-day", "-id"]
        verbose_name_plural = "hours"
        constraints = [
            models.UniqueConstraint(
                name="hours_once_member", fields=["job", "who", "day"], condition=Q(who__isnull=False)
            ),
            models.UniqueConstraint(
                name="hours_once_helper", fields=["job", "helper", "day"], condition=Q(who=None)
            ),
            models.CheckConstraint(
                name="hours_of_a_day", condition=Q(minutes__gte=1) & Q(minutes__lte=24 * 60)
            ),
            models.CheckConstraint(
                name="hours_of_somebody",
                condition=Q(who__isnull=False, helper="") | (Q(who=None) & ~Q(helper="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.minutes} min on {self.job}"


class Bag(models.Model):
    """What was taken apart for a job and put in a bag or box; its photos, in order, are papers of that place."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="bags")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="bags")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="bags")
    what = models.CharField(max_length=120, help_text="What was taken apart")
    note = models.TextField("how it came apart", max_length=2000, blank=True)
    taken_apart_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    back_on = models.DateField(null=True, blank=True, help_text="The day it was put together again")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(name="bag_says_what", condition=~Q(what="")),
            models.UniqueConstraint(name="bag_open_once", fields=["place"], condition=Q(back_on=None)),
        ]

    def __str__(self) -> str:
        return self.what


class DoneBy(models.TextChoices):
    OWNER = "owner", "Owner or crew"
    FIRM = "firm", "A firm or licensed trade"


class Finish(models.Model):
    """How a job was done: by whom, how, with what, and how it was tested. The day it was done is the job's own."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    job = models.OneToOneField(Job, on_delete=models.CASCADE, related_name="finish")
    done_by = models.CharField(max_length=5, choices=DoneBy, default=DoneBy.OWNER)
    name = models.CharField("person or firm", max_length=80, blank=True)
    certificate = models.CharField(max_length=120, blank=True)
    method = models.TextField(max_length=2000, blank=True)
    materials = models.CharField(max_length=400, blank=True)
    test_result = models.CharField(max_length=200, blank=True)
    instrument = models.CharField(max_length=120, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.CheckConstraint(name="finish_done_by_known", condition=Q(done_by__in=DoneBy.values)),
            models.CheckConstraint(name="finish_firm_named", condition=~Q(done_by=DoneBy.FIRM) | ~Q(name="")),
        ]

    def __str__(self) -> str:
        return f"{self.job} done"
