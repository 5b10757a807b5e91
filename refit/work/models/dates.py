"""Dates of the refit: what comes after what, booked days, milestones, the days that are worked, the calendar feed."""

from django.db import models
from django.db.models import F, Q

from refit.boat.models import Boat, Member
from refit.work.models.jobs import Job


class After(models.Model):
    """A job that cannot begin before another is done (and cured)."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="comes_after")
    after = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="comes_before")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(name="after_once", fields=["job", "after"]),
            models.CheckConstraint(name="after_not_itself", condition=~Q(job=F("after"))),
        ]

    def __str__(self) -> str:
        return f"{self.job} after {self.after}"


class Booking(models.Model):
    """Days on which somebody comes for a job: a contractor, the boat hoist, a surveyor."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="bookings")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="bookings")
    day = models.DateField()
    days = models.PositiveSmallIntegerField(default=1)
    who = models.CharField(max_length=80)
    note = models.CharField(max_length=200, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["day", "id"]
        constraints = [
            models.CheckConstraint(
                name="booking_days_in_bounds", condition=Q(days__gte=1) & Q(days__lte=365)
            ),
            models.CheckConstraint(name="booking_says_who", condition=~Q(who="")),
        ]

    def __str__(self) -> str:
        return f"{self.who} on {self.day}"


class MilestoneKind(models.TextChoices):
    HAUL_OUT = "haul_out", "Haul out"
    MAST = "mast", "Stepping the mast"
    SURVEY = "survey", "Survey"
    LAUNCH = "launch", "Launch"
    DEPARTURE = "departure", "Departure"
    OTHER = "other", "Other"


class Milestone(models.Model):
    """A day that the refit works towards. Launch and departure wait for all jobs to be done before them."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="milestones")
    kind = models.CharField(max_length=9, choices=MilestoneKind)
    name = models.CharField(max_length=60)
    target = models.DateField(null=True, blank=True, help_text="The day it should be reached")
    reached_on = models.DateField(null=True, blank=True)
    job = models.ForeignKey(
        Job,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="milestones",
        help_text="The job that reaches it, such as lifting in",
    )

    class Meta:
        ordering = ["target", "id"]
        constraints = [
            models.CheckConstraint(name="milestone_kind_known", condition=Q(kind__in=MilestoneKind.values)),
            models.CheckConstraint(name="milestone_named", condition=~Q(name="")),
            models.UniqueConstraint(
                name="milestone_one_of_kind", fields=["boat", "kind"], condition=~Q(kind=MilestoneKind.OTHER)
            ),
        ]

    def __str__(self) -> str:
        return self.name


class WorkTerms(models.Model):
    """How this boat works: its working days, how early parts should be here, what an own hour is worth."""

    boat = models.OneToOneField(Boat, on_delete=models.CASCADE, related_name="work_terms")
    weekdays = models.CharField(
        max_length=7, default="1111110", help_text="Monday to Sunday: 1 is worked, 0 is not"
    )
    margin_days = models.PositiveSmallIntegerField(
        default=3, help_text="Parts should be here so many days before they are wanted"
    )
    hour_rate = models.BigIntegerField(
        null=True, blank=True, help_text="What an own hour is worth, minor units of the boat's currency"
    )
    country = models.CharField(max_length=2, blank=True, help_text="Whose public holidays are not worked")
    region = models.CharField(max_length=10, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="work_terms_some_day", condition=Q(weekdays__contains="1", weekdays__length=7)
            ),
            models.CheckConstraint(name="work_terms_margin_in_bounds", condition=Q(margin_days__lte=365)),
            models.CheckConstraint(
                name="work_terms_rate_in_bounds",
                condition=Q(hour_rate=None) | (Q(hour_rate__gte=0) & Q(hour_rate__lt=10**12)),
            ),
        ]

    def __str__(self) -> str:
        return f"Working days of {self.boat}"


class DayAway(models.Model):
    """Days on which nobody works on the boat."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="days_away")
    first = models.DateField()
    last = models.DateField()
    why = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["first", "id"]
        constraints = [
            models.CheckConstraint(name="day_away_right_way_round", condition=Q(last__gte=F("first"))),
        ]

    def __str__(self) -> str:
        return f"Away {self.first} to {self.last}"


class CalendarFeed(models.Model):
    """The secret of a member's calendar address. A new one ends the old."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    member = models.OneToOneField(Member, on_delete=models.CASCADE, related_name="calendar_feed")
    secret = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.CheckConstraint(name="calendar_secret_long", condition=Q(secret__length__gte=32)),
        ]

    def __str__(self) -> str:
        return f"Calendar of {self.member}"
