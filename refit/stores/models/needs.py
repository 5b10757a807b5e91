"""What jobs want from the stores, what goes with what, and lists kept for repeated work."""

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from refit.boat.fields import QuantityField
from refit.boat.models import Boat
from refit.stores.models.parts import Lot, Part
from refit.work.models import Bag, Job


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
    wanted_by = models.DateField(null=True, blank=True, help_text="The job's start unless typed")
    one_piece = models.BooleanField("in one piece", default=False)
    must_fit = models.CharField(max_length=120, blank=True, help_text="Size, thread, what it must fit")
    reserved = QuantityField(default=0, help_text="So much in the stores is kept for it")
    reserved_lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="reserved_for"
    )
    bag = models.ForeignKey(Bag, on_delete=models.SET_NULL, null=True, blank=True, related_name="needs")

    objects = NeedQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                name="need_guess_in_bounds", condition=Q(guess=None) | (Q(guess__gte=0) & Q(guess__lt=10**12))
            ),
            models.CheckConstraint(name="need_more_than_nothing", condition=Q(quantity__gt=0)),
            models.CheckConstraint(name="need_says_what", condition=~Q(part=None, words="")),
            models.CheckConstraint(
                name="need_reserves_what_it_wants",
                condition=Q(reserved__gte=0) & Q(reserved__lte=F("quantity")),
            ),
            models.CheckConstraint(
                name="need_reserves_a_part", condition=Q(reserved=0) | Q(part__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return self.part.name if self.part else self.words


class Companion(models.Model):
    """What a part needs with it: another part, or a tool to fit it with."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="needs_with")
    other = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="goes_with")
    words = models.CharField(max_length=120, blank=True)
    quantity = QuantityField(default=1, help_text="So many for one of the part")
    is_tool = models.BooleanField("a tool: comes back, is not used up", default=False)

    class Meta:
        ordering = ["is_tool", "id"]
        constraints = [
            models.UniqueConstraint(name="companion_once", fields=["part", "other"]),
            models.CheckConstraint(name="companion_says_what", condition=~Q(other=None, words="")),
            models.CheckConstraint(name="companion_not_itself", condition=~Q(other=F("part"))),
            models.CheckConstraint(name="companion_some", condition=Q(quantity__gt=0)),
        ]

    def __str__(self) -> str:
        return self.other.name if self.other else self.words


class KitList(models.Model):
    """A list of parts kept for work that comes again, such as an engine service."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="kit_lists")
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(name="kit_list_name_once", fields=["boat", "name"]),
            models.CheckConstraint(name="kit_list_named", condition=~Q(name="")),
        ]

    def __str__(self) -> str:
        return self.name


class KitListLine(models.Model):
    """One thing of a kit list."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    kit_list = models.ForeignKey(KitList, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    words = models.CharField(max_length=200, blank=True)
    quantity = QuantityField(default=1)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(name="kit_list_line_some", condition=Q(quantity__gt=0)),
            models.CheckConstraint(name="kit_list_line_says_what", condition=~Q(part=None, words="")),
        ]

    def __str__(self) -> str:
        return self.part.name if self.part else self.words
