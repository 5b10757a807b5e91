"""The ledger of everything that went in and out, what was counted, and what was not where it should be.

A movement is never changed: a database trigger refuses it.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location
from refit.stores.models.holdings import Level
from refit.stores.models.parts import Lot, Part
from refit.work.models import Job


class EntryKind(models.TextChoices):
    TAKE = "take", "Taken"
    PUT_IN = "put_in", "Put in"
    MOVE = "move", "Moved"
    COUNT = "count", "Counted"
    CORRECT = "correct", "Corrected and taken"
    MISSING = "missing", "Not there"
    LEVEL = "level", "Level"
    DELIVERY = "delivery", "Arrived"
    RETURN = "return", "Sent back"
    CUT = "cut", "Cut"
    KIT = "kit", "Kit opened"
    OFF = "off", "Taken off the boat"
    UNDO = "undo", "Undone"


# Entries that belong to a document of a higher floor; that document's own action undoes them.
DOCUMENTED = (EntryKind.DELIVERY, EntryKind.RETURN)


class Entry(models.Model):
    """One deed in the ledger: the movements that happened together and are undone together."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="entries")
    kind = models.CharField(max_length=8, choices=EntryKind)
    said = models.CharField(max_length=300)
    happened_on = models.DateField()
    entered_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    undoes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="undone_by"
    )

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "entries"
        constraints = [
            models.CheckConstraint(name="entry_kind_known", condition=Q(kind__in=EntryKind.values)),
            models.CheckConstraint(name="entry_not_of_itself", condition=~Q(undoes=F("id"))),
        ]

    def __str__(self) -> str:
        return self.said


class Reason(models.TextChoices):
    DELIVERED = "delivered", "arrived"
    OPENING = "opening", "put in"
    USED = "used", "used"
    FOUND = "found", "counted, more"
    LOST = "lost", "counted, fewer"
    MOVED = "moved", "moved"
    LEVEL = "level", "level said"
    RETURNED = "returned", "sent back"
    CUT = "cut", "cut"
    BITS = "bits", "too short, to bits"
    KIT = "kit", "kit opened"
    OFF = "off", "taken off the boat"
    UNDONE = "undone", "undone"


class MovementQuerySet(models.QuerySet["Movement"]):
    def for_lists(self) -> "MovementQuerySet":
        return self.select_related("entry__by", "part", "lot", "from_place", "to_place", "job").order_by(
            "-id"
        )

    def at(self, place: Location) -> "MovementQuerySet":
        return self.filter(Q(from_place=place) | Q(to_place=place))


class Movement(models.Model):
    """One line of the stores ledger; the only way a holding changes.

    What is counted moves `quantity` from one place to another (or from or to outside the boat). What is kept by
    level, or is just here, moves no quantity: `level_before` became `level_after` in `to_place`.
    """

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="movements")
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="movements")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="movements")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="movements")
    from_place = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="outs"
    )
    to_place = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="ins"
    )
    quantity = QuantityField(default=0)
    level_before = models.CharField(max_length=4, choices=Level, blank=True, default="")
    level_after = models.CharField(max_length=4, choices=Level, blank=True, default="")
    reason = models.CharField(max_length=9, choices=Reason)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="movements")
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )

    objects = MovementQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(name="movement_boat_recent", fields=["boat", "-id"])]
        constraints = [
            models.CheckConstraint(
                name="movement_goes_somewhere", condition=~Q(from_place=None, to_place=None)
            ),
            models.CheckConstraint(name="movement_not_on_the_spot", condition=~Q(from_place=F("to_place"))),
            models.CheckConstraint(
                name="movement_moves_something",
                condition=Q(quantity__gt=0, level_before="", level_after="")
                | (Q(quantity=0, from_place=None) & ~Q(level_before=F("level_after"))),
            ),
            models.CheckConstraint(name="movement_reason_known", condition=Q(reason__in=Reason.values)),
        ]

    def __str__(self) -> str:
        return f"{self.get_reason_display()} {self.quantity} {self.part}"


class Count(models.Model):
    """A place that was counted: the day before which nothing more is written down for it."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="counts")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="count")
    counted_on = models.DateField()

    class Meta:
        ordering = ["-counted_on", "-id"]

    def __str__(self) -> str:
        return f"{self.place} counted {self.counted_on}"


class Missing(models.Model):
    """A thing that was not where the ledger had it, until it is found or given up."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="missing")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="missing")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="missing")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="missing")
    quantity = QuantityField()
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.part} not in {self.place}"
