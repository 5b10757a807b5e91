"""The stores: parts, where they lie, and the ledger of everything that went in and out.

A holding changes only through a movement; a movement is never changed (a database trigger refuses it).
"""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location, Paper, System, Where
from refit.calc.text import fold
from refit.work.models import Job


class Unit(models.TextChoices):
    EACH = "each", "each"
    METRE = "m", "m"
    KILOGRAM = "kg", "kg"
    LITRE = "l", "l"
    SHEET = "sheet", "sheet"
    PAIR = "pair", "pair"
    SET = "set", "set"
    HOUR = "h", "h"


class Kept(models.TextChoices):
    COUNTED = "counted", "Counted"
    LEVEL = "level", "By level"
    HERE = "here", "Just here"


class Level(models.TextChoices):
    NONE = "", ""
    FINE = "fine", "fine"
    LOW = "low", "low"
    GONE = "gone", "gone"
    HERE = "here", "here"


class Hazard(models.TextChoices):
    """Dangerous goods classes of the IMDG Code, as marked on the maker's sheet."""

    EXPLOSIVE = "1", "1 Explosive (flares, rockets)"
    GAS = "2.1", "2.1 Flammable gas"
    GAS_INERT = "2.2", "2.2 Gas under pressure"
    LIQUID = "3", "3 Flammable liquid"
    SOLID = "4.1", "4.1 Flammable solid"
    OXIDISER = "5.1", "5.1 Oxidiser"
    PEROXIDE = "5.2", "5.2 Organic peroxide"
    TOXIC = "6.1", "6.1 Poison"
    CORROSIVE = "8", "8 Corrosive"
    OTHER = "9", "9 Other (lithium batteries)"


class PartQuerySet(models.QuerySet["Part"]):
    def in_use(self) -> "PartQuerySet":
        return self.filter(retired_at=None)

    def spares(self) -> "PartQuerySet":
        return self.in_use().filter(is_spare=True)


class Part(models.Model):
    """A thing bought, stowed or fitted."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="parts")
    name = models.CharField(max_length=120)
    specification = models.CharField(max_length=300, blank=True)
    search = models.CharField(max_length=1000, editable=False)
    unit = models.CharField(max_length=6, choices=Unit, default=Unit.EACH)
    kept = models.CharField(max_length=8, choices=Kept, default=Kept.COUNTED)
    weight_kg = models.DecimalField(
        "weight of one, kg", max_digits=9, decimal_places=4, null=True, blank=True
    )
    hazard = models.CharField("hazard class", max_length=4, choices=Hazard, blank=True)
    system = models.ForeignKey(System, on_delete=models.PROTECT, null=True, blank=True, related_name="parts")
    usual_place = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="usual_for"
    )
    is_spare = models.BooleanField("spare to carry", default=False)
    minimum = QuantityField("least to carry", default=0)
    has_expiry = models.BooleanField("has a date that runs out", default=False)
    has_serial = models.BooleanField("has a serial or batch number", default=False)
    superseded_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="supersedes"
    )
    photo = models.ForeignKey(
        Paper, on_delete=models.SET_NULL, null=True, blank=True, related_name="photo_of_part"
    )
    retired_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        indexes = [models.Index(name="part_boat_name", fields=["boat", "name"])]
        constraints = [
            models.CheckConstraint(name="part_name_given", condition=~Q(name="")),
            models.CheckConstraint(name="part_name_short", condition=Q(name__length__lte=120)),
            models.CheckConstraint(name="part_unit_known", condition=Q(unit__in=Unit.values)),
            models.CheckConstraint(name="part_kept_known", condition=Q(kept__in=Kept.values)),
            models.CheckConstraint(name="part_minimum_not_negative", condition=Q(minimum__gte=0)),
            models.CheckConstraint(name="part_not_by_itself", condition=~Q(superseded_by=F("id"))),
        ]

    def __str__(self) -> str:
        return self.name

    def fold_search(self, numbers: list[str]) -> None:
        """Set the folded words that find looks in: the name, the specification and all numbers."""
        self.search = "|".join(fold(word) for word in [self.name, self.specification, *numbers] if word)[
            :1000
        ]


class NumberKind(models.TextChoices):
    MAKER = "maker", "Maker's"
    SUPPLIER = "supplier", "Supplier's"
    SUPERSEDED = "superseded", "Superseded"
    GTIN = "gtin", "Barcode (GTIN)"


class PartNumber(models.Model):
    """One of the many numbers a part goes by."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="numbers")
    kind = models.CharField(max_length=10, choices=NumberKind, default=NumberKind.MAKER)
    number = models.CharField(max_length=60)
    folded = models.CharField(max_length=120, editable=False)
    whose = models.CharField("maker or supplier", max_length=80, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(name="part_number_once", fields=["part", "kind", "folded"]),
            models.UniqueConstraint(
                name="part_gtin_once", fields=["boat", "folded"], condition=Q(kind=NumberKind.GTIN)
            ),
            models.CheckConstraint(name="part_number_kind_known", condition=Q(kind__in=NumberKind.values)),
        ]

    def __str__(self) -> str:
        return " ".join(word for word in (self.whose, self.number) if word)

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.folded = fold(self.number)[:120]
        super().save(*args, **kwargs)


class Lot(models.Model):
    """A batch that shares an expiry date or a serial."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="lots")
    serial = models.CharField("batch or serial", max_length=60, blank=True)
    expires_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["expires_on", "id"]
        constraints = [
            models.UniqueConstraint(
                name="lot_once_dated",
                fields=["part", "serial", "expires_on"],
                condition=Q(expires_on__isnull=False),
            ),
            models.UniqueConstraint(
                name="lot_once_undated", fields=["part", "serial"], condition=Q(expires_on=None)
            ),
            models.CheckConstraint(name="lot_says_something", condition=~Q(serial="", expires_on=None)),
        ]

    def __str__(self) -> str:
        return self.serial or f"to {self.expires_on:%m/%y}"


class HoldingQuerySet(models.QuerySet["Holding"]):
    def there(self) -> "HoldingQuerySet":
        """Return what really lies somewhere (a holding counted down to nil stays as a row)."""
        return self.filter(Q(quantity__gt=0) | ~Q(level__in=["", Level.GONE]))

    def aboard(self) -> "HoldingQuerySet":
        return self.filter(place__where=Where.ABOARD)


class Holding(models.Model):
    """So much of one part (and lot) in one place. Changed only by `stores.actions`."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="holdings")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="holdings")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, related_name="holdings")
    quantity = QuantityField(default=0)
    level = models.CharField(max_length=4, choices=Level, blank=True, default="")

    objects = HoldingQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                name="holding_once_lot", fields=["part", "place", "lot"], condition=Q(lot__isnull=False)
            ),
            models.UniqueConstraint(name="holding_once", fields=["part", "place"], condition=Q(lot=None)),
            models.CheckConstraint(name="holding_not_negative", condition=Q(quantity__gte=0)),
            models.CheckConstraint(name="holding_level_known", condition=Q(level__in=Level.values)),
        ]

    def __str__(self) -> str:
        return f"{self.part} in {self.place}"


class SetAside(models.Model):
    """So much of a holding that lies there but may not be used, such as goods that go back."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    holding = models.ForeignKey(Holding, on_delete=models.PROTECT, related_name="set_asides")
    quantity = QuantityField()
    why = models.CharField(max_length=120)
    made_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [models.CheckConstraint(name="set_aside_some", condition=Q(quantity__gt=0))]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.holding}: {self.why}"


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


class PartPaper(models.Model):
    """A paper that belongs to a part: a data sheet, a manual, a photo."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="part_papers")
    paper = models.ForeignKey(Paper, on_delete=models.CASCADE, related_name="part_papers")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(name="part_paper_once", fields=["part", "paper"])]

    def __str__(self) -> str:
        return f"{self.paper} of {self.part}"


def usable(holdings: "QuerySet[Holding]", on: Any) -> "QuerySet[Holding]":
    """Return the holdings whose date has not passed on that day (the marked day itself still counts)."""
    return holdings.filter(Q(lot=None) | Q(lot__expires_on=None) | Q(lot__expires_on__gte=on))
