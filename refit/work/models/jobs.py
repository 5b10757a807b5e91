"""Jobs: what is to be done, how far it is, what it takes and what it may cost."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location, Member, Paper, System
from refit.boat.rights import RIGHTS, Right
from refit.calc.text import fold


class State(models.TextChoices):
    PLANNED = "planned", "Planned"
    WAITING = "waiting", "Waiting"
    READY = "ready", "Ready"
    IN_HAND = "in_hand", "In hand"
    DONE = "done", "Done"
    LATER = "later", "Later"


OPEN_STATES = (State.PLANNED, State.WAITING, State.READY, State.IN_HAND)

# From each state to those it may be set to. A job done by mistake can be taken up again.
TRANSITIONS: dict[str, frozenset[str]] = {
    State.PLANNED: frozenset({State.WAITING, State.READY, State.IN_HAND, State.DONE, State.LATER}),
    State.WAITING: frozenset({State.PLANNED, State.READY, State.IN_HAND, State.DONE, State.LATER}),
    State.READY: frozenset({State.PLANNED, State.WAITING, State.IN_HAND, State.DONE, State.LATER}),
    State.IN_HAND: frozenset({State.PLANNED, State.WAITING, State.READY, State.DONE, State.LATER}),
    State.DONE: frozenset({State.IN_HAND}),
    State.LATER: frozenset({State.PLANNED, State.READY, State.IN_HAND}),
}


class Before(models.TextChoices):
    LAUNCH = "launch", "Before launch"
    DEPARTURE = "departure", "Before departure"
    AFLOAT = "afloat", "Afloat"
    ANOTHER_YEAR = "another", "Another year"


class Priority(models.IntegerChoices):
    FIRST = 1, "First"
    NORMAL = 2, "Normal"
    CAN_WAIT = 3, "Can wait"


class Trait(models.TextChoices):
    """What a job brings with it, for what may be done when and beside what. `refit.calc.clashes` knows them."""

    HOT = "hot", "Hot work: welding, sparks, heat gun"
    SOLVENT = "solvent", "Solvents"
    RESIN = "resin", "Resin"
    PAINT = "paint", "Paint or varnish"
    FUEL = "fuel", "Fuel"
    FOAM = "foam", "Foam or insulation"
    GAS = "gas", "Gas (LPG)"
    DUST = "dust", "Dusty: grinding, sanding"
    NOISE = "noise", "Noisy"
    MAINS = "mains", "Mains electricity"
    WATER = "water", "Water about"
    CONFINED = "confined", "Confined space"
    LITHIUM = "lithium", "Lithium batteries"
    RIGGING = "rigging", "Rigging"
    STEERING = "steering", "Steering"
    LIFTING = "lifting", "Lifting"
    HULL = "hull", "Opening in the hull"


class JobQuerySet(models.QuerySet["Job"]):
    def open(self) -> "JobQuerySet":
        return self.filter(state__in=OPEN_STATES)

    def to_do(self) -> "JobQuerySet":
        """Return the open jobs that are not left for another year: those that are planned, and bought and kept for."""
        return self.open().exclude(before=Before.ANOTHER_YEAR)

    def seen_by(self, member: Member) -> "JobQuerySet":
        """Return the jobs of the member's boat that they may see: a trade sees those given to it."""
        jobs = self.filter(boat_id=member.boat_id)
        return jobs if Right.SEE_ALL in RIGHTS[member.role] else jobs.filter(given_to=member)


class Job(models.Model):
    """An item on the work list."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="jobs")
    number = models.PositiveIntegerField()
    title = models.CharField(max_length=120)
    folded = models.CharField(max_length=240, editable=False)
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=8, choices=State, default=State.PLANNED)
    before = models.CharField("to be done", max_length=9, choices=Before, default=Before.LAUNCH)
    note = models.TextField(max_length=4000, blank=True)
    found_on_the_way = models.BooleanField(
        default=False, help_text="Not on the first list: found while doing something else"
    )
    given_to = models.ForeignKey(
        Member, on_delete=models.SET_NULL, null=True, blank=True, related_name="jobs"
    )
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    done_on = models.DateField(null=True, blank=True)
    begun_on = models.DateField(null=True, blank=True)
    priority = models.PositiveSmallIntegerField(choices=Priority, default=Priority.NORMAL)
    days = QuantityField(
        "days of work", null=True, blank=True, help_text="A day has eight hours: 0.25 is two hours"
    )
    not_before = models.DateField(null=True, blank=True)
    space = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="jobs_here"
    )
    sole_use = models.BooleanField("nobody else can work there meanwhile", default=False)
    dry = models.BooleanField("needs dry weather", default=False)
    above_celsius = models.SmallIntegerField("needs more than, °C", null=True, blank=True)
    cure_days = models.PositiveSmallIntegerField("days to cure after it", default=0)
    found_during = models.ForeignKey(
        "self", on_delete=models.SET_NULL, null=True, blank=True, related_name="led_to"
    )

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(name="job_number_once", fields=["boat", "number"]),
            models.CheckConstraint(name="job_state_known", condition=Q(state__in=State.values)),
            models.CheckConstraint(name="job_before_known", condition=Q(before__in=Before.values)),
            models.CheckConstraint(name="job_title_given", condition=~Q(title="")),
            models.CheckConstraint(name="job_title_short", condition=Q(title__length__lte=120)),
            models.CheckConstraint(name="job_note_short", condition=Q(note__length__lte=4000)),
            models.CheckConstraint(name="job_priority_known", condition=Q(priority__in=Priority.values)),
            models.CheckConstraint(
                name="job_days_in_bounds", condition=Q(days=None) | (Q(days__gte=0) & Q(days__lte=1000))
            ),
            models.CheckConstraint(name="job_cure_in_bounds", condition=Q(cure_days__lte=365)),
            models.CheckConstraint(
                name="job_celsius_in_bounds",
                condition=Q(above_celsius=None) | (Q(above_celsius__gte=-30) & Q(above_celsius__lte=60)),
            ),
            models.CheckConstraint(
                name="job_sole_use_of_a_space", condition=Q(sole_use=False) | Q(space__isnull=False)
            ),
            models.CheckConstraint(name="job_not_found_by_itself", condition=~Q(found_during=F("id"))),
        ]

    def __str__(self) -> str:
        return f"Job {self.number}, {self.title}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.folded = fold(f"{self.number} {self.title}")[:240]
        super().save(*args, **kwargs)

    @property
    def is_to_do(self) -> bool:
        """Say whether it is open and not left for another year."""
        return self.state in OPEN_STATES and self.before != Before.ANOTHER_YEAR


class JobTrait(models.Model):
    """One thing that a job brings with it."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="traits")
    trait = models.CharField(max_length=8, choices=Trait)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(name="job_trait_once", fields=["job", "trait"]),
            models.CheckConstraint(name="job_trait_known", condition=Q(trait__in=Trait.values)),
        ]

    def __str__(self) -> str:
        return self.get_trait_display()


class Estimate(models.Model):
    """What a service of a job may cost. Its amounts are dated and kept; the newest counts until it is ordered."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="estimates")
    words = models.CharField(max_length=120)
    closed_on = models.DateField(null=True, blank=True, help_text="Ordered, or no longer wanted")

    class Meta:
        ordering = ["id"]
        constraints = [models.CheckConstraint(name="estimate_says_what", condition=~Q(words=""))]

    def __str__(self) -> str:
        return self.words


class EstimateAmount(models.Model):
    """An estimate as it stood from a day on (minor units of the boat's currency)."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    estimate = models.ForeignKey(Estimate, on_delete=models.CASCADE, related_name="amounts")
    amount = models.BigIntegerField()
    set_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["set_on", "id"]
        constraints = [
            models.CheckConstraint(
                name="estimate_amount_in_bounds", condition=Q(amount__gte=0) & Q(amount__lt=10**12)
            )
        ]

    def __str__(self) -> str:
        return f"{self.estimate} from {self.set_on}"


class Moment(models.TextChoices):
    ANY = "", ""
    BEFORE = "before", "Before"
    AFTER = "after", "After"


class JobPaper(models.Model):
    """A paper that belongs to a job; a photo may show it before or after."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="job_papers")
    paper = models.ForeignKey(Paper, on_delete=models.CASCADE, related_name="job_papers")
    moment = models.CharField(max_length=6, choices=Moment, blank=True, default="")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(name="job_paper_once", fields=["job", "paper"]),
            models.CheckConstraint(name="job_paper_moment_known", condition=Q(moment__in=Moment.values)),
        ]

    def __str__(self) -> str:
        return f"{self.paper} of {self.job}"
