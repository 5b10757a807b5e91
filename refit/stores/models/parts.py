"""Parts: what each is, the numbers it goes by, its batches and its papers."""

from typing import Any

from django.db import models
from django.db.models import F, Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location, Paper, System
from refit.calc.text import fold


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


class Side(models.TextChoices):
    """Port and starboard parts are different parts."""

    NONE = "", ""
    PORT = "port", "Port"
    STARBOARD = "starboard", "Starboard"


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
    in_pieces = models.BooleanField("kept in pieces, each with its length", default=False)
    bits_under = QuantityField(
        "ends shorter than this go to bits", default=0, help_text="In the part's unit; nought keeps every end"
    )
    sets_of = models.PositiveSmallIntegerField("fitted in sets of", default=1)
    side = models.CharField(max_length=9, choices=Side, blank=True, default="")
    no_air = models.BooleanField("may not go by air", default=False)
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
            models.CheckConstraint(name="part_side_known", condition=Q(side__in=Side.values)),
            models.CheckConstraint(
                name="part_sets_in_bounds", condition=Q(sets_of__gte=1) & Q(sets_of__lte=1000)
            ),
            models.CheckConstraint(name="part_bits_not_negative", condition=Q(bits_under__gte=0)),
            models.CheckConstraint(
                name="part_pieces_are_counted", condition=Q(in_pieces=False) | Q(kept=Kept.COUNTED)
            ),
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


class Condition(models.TextChoices):
    """What state a thing is in; only what is good (or never asked about) counts as usable."""

    NEW = "", ""
    GOOD = "good", "Good"
    OVERHAUL = "overhaul", "To overhaul"
    SCRAP = "scrap", "Scrap"
    INCOMPLETE = "short", "Incomplete"


GOOD_CONDITIONS = (Condition.NEW, Condition.GOOD)


class Lot(models.Model):
    """A batch that shares an expiry date or a serial; or one numbered thing: a piece, or what came off the boat."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="lots")
    serial = models.CharField("batch or serial", max_length=60, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    number = models.PositiveIntegerField(
        null=True, blank=True, help_text="Of a piece, or of what was taken off the boat"
    )
    condition = models.CharField(max_length=8, choices=Condition, blank=True, default="")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["expires_on", "id"]
        constraints = [
            models.UniqueConstraint(
                name="lot_once_dated",
                fields=["part", "serial", "expires_on"],
                condition=Q(expires_on__isnull=False, number=None),
            ),
            models.UniqueConstraint(
                name="lot_once_undated",
                fields=["part", "serial"],
                condition=Q(expires_on=None, number=None),
            ),
            models.UniqueConstraint(
                name="lot_number_once", fields=["part", "number"], condition=Q(number__isnull=False)
            ),
            models.CheckConstraint(
                name="lot_says_something", condition=~Q(serial="", expires_on=None, number=None)
            ),
            models.CheckConstraint(name="lot_condition_known", condition=Q(condition__in=Condition.values)),
            models.CheckConstraint(
                name="lot_condition_of_a_thing", condition=Q(condition="") | Q(number__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        if self.condition:
            return " ".join(
                word
                for word in (f"no. {self.number}", self.serial, self.get_condition_display().lower())
                if word
            )
        if self.number is not None:
            return f"piece {self.number}"
        return self.serial or f"to {self.expires_on:%m/%y}"


class KitContent(models.Model):
    """What a kit holds: so many of a part in one of it."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    kit = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="contents")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="in_kits")
    quantity = QuantityField(default=1)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(name="kit_content_once", fields=["kit", "part"]),
            models.CheckConstraint(name="kit_content_some", condition=Q(quantity__gt=0)),
            models.CheckConstraint(name="kit_not_in_itself", condition=~Q(kit=F("part"))),
        ]

    def __str__(self) -> str:
        return f"{self.part} in {self.kit}"


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
