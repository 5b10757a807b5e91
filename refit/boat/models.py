"""The boat itself: who may do what on it, its systems and budgets, its places and their labels, its papers."""

from typing import Any

from django.conf import settings
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Length

from refit.boat.rights import Role
from refit.calc.text import fold, natural_key

models.CharField.register_lookup(Length)
models.TextField.register_lookup(Length)

RESERVED_SLUGS = ("l", "scan", "healthz", "admin", "static", "accounts", "first", "clock")
slug_validator = RegexValidator(r"^[a-z0-9]+(-[a-z0-9]+)*$", "Small letters, digits and single hyphens only.")


class Units(models.TextChoices):
    METRIC = "metric", "Metres and kilograms"
    IMPERIAL = "imperial", "Feet and pounds"


class BoatQuerySet(models.QuerySet["Boat"]):
    def of(self, user: Any) -> "BoatQuerySet":
        """Return the boats that this person may see."""
        return self.filter(members__user=user).order_by("name")


class Boat(models.Model):
    """The vessel; owns everything else."""

    slug = models.SlugField(max_length=40, unique=True, validators=[slug_validator])
    name = models.CharField(max_length=80)
    hull_number = models.CharField(max_length=20, blank=True)
    official_number = models.CharField(max_length=20, blank=True)
    flag = models.CharField(max_length=40, blank=True)
    port_of_registry = models.CharField(max_length=60, blank=True)
    call_sign = models.CharField(max_length=12, blank=True)
    builder = models.CharField(max_length=80, blank=True)
    year_built = models.PositiveSmallIntegerField(null=True, blank=True)
    material = models.CharField(max_length=40, blank=True)
    length_m = models.DecimalField("length, m", max_digits=6, decimal_places=2, null=True, blank=True)
    beam_m = models.DecimalField("beam, m", max_digits=5, decimal_places=2, null=True, blank=True)
    draught_m = models.DecimalField("draught, m", max_digits=5, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3)
    units = models.CharField(max_length=8, choices=Units, default=Units.METRIC)
    time_zone = models.CharField(max_length=40, default="UTC")
    bought_on = models.DateField(
        "ours since", null=True, blank=True, help_text="No work on her is written down for an earlier day"
    )
    deducts_tax = models.BooleanField(
        "we get tax on purchases back",
        default=False,
        help_text="Registered for tax: what is marked as such is no cost. Else every tax is cost until it comes back.",
    )
    is_demo = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = BoatQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(name="boat_slug_free", condition=~Q(slug__in=RESERVED_SLUGS)),
            models.CheckConstraint(name="boat_slug_given", condition=~Q(slug="")),
            models.CheckConstraint(name="boat_name_given", condition=~Q(name="")),
            models.CheckConstraint(name="boat_currency_three", condition=Q(currency__length=3)),
        ]

    def __str__(self) -> str:
        return self.name


class Member(models.Model):
    """A person on a boat, with the role that says what they may do."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="members")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=8, choices=Role)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="member_once", fields=["boat", "user"]),
            models.CheckConstraint(name="member_role_known", condition=Q(role__in=Role.values)),
        ]

    def __str__(self) -> str:
        return self.user.first_name or self.user.get_username()


class Group(models.TextChoices):
    """The ESWBS groups (MIL-HDBK-881, appendix on sea systems), shown by name only."""

    HULL = "100", "Hull"
    PROPULSION = "200", "Engine"
    ELECTRIC = "300", "Electrics"
    COMMAND = "400", "Navigation and radio"
    AUXILIARY = "500", "Deck gear and plumbing"
    OUTFIT = "600", "Accommodation and outfit"
    ENGINEERING = "800", "Survey and papers"
    SERVICES = "900", "Yard, tools and carriage"


class System(models.Model):
    """A functional part of the boat that jobs and money are counted by."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="systems")
    name = models.CharField(max_length=60)
    folded = models.CharField(max_length=120, editable=False)
    group = models.CharField(max_length=3, choices=Group)
    of_the_boat = models.BooleanField(
        "part of the boat",
        default=True,
        help_text="Yard, tools and papers are not: they stand outside the boat's subtotal.",
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["group", "name"]
        constraints = [
            models.UniqueConstraint(name="system_name_once", fields=["boat", "folded"]),
            models.CheckConstraint(name="system_group_known", condition=Q(group__in=Group.values)),
            models.CheckConstraint(name="system_name_given", condition=~Q(name="")),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.folded = fold(self.name)[:120]
        super().save(*args, **kwargs)


class Budget(models.Model):
    """What a system may cost, from a date on. The newest counts; earlier ones stay to be read."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="budgets")
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="budgets")
    amount = models.BigIntegerField(help_text="Minor units of the boat's currency")
    set_on = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["set_on", "id"]
        constraints = [models.CheckConstraint(name="budget_not_negative", condition=Q(amount__gte=0))]

    def __str__(self) -> str:
        return f"{self.system} from {self.set_on}"


class Kind(models.TextChoices):
    AREA = "area", "Area"
    LOCKER = "locker", "Locker"
    BOX = "box", "Box"
    BAG = "bag", "Bag"
    UNSTOWED = "unstowed", "Not stowed yet"


class Where(models.TextChoices):
    ABOARD = "aboard", "Aboard"
    ASHORE = "ashore", "Ashore here"
    AWAY = "away", "Away"


class LocationQuerySet(models.QuerySet["Location"]):
    def in_use(self) -> "LocationQuerySet":
        return self.filter(retired_at=None)

    def stowable(self) -> "LocationQuerySet":
        """Return the places where a thing can be put."""
        return self.in_use().exclude(kind=Kind.AREA)

    def by_mark(self) -> "LocationQuerySet":
        return self.order_by("mark_sort", "name", "id")


class Location(models.Model):
    """Where things can be: a tree of area, locker, box or bag. `area` and `where` follow from the tree."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="locations")
    parent = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="children"
    )
    area = models.ForeignKey("self", on_delete=models.PROTECT, null=True, editable=False, related_name="+")
    where = models.CharField(max_length=6, choices=Where, default=Where.ABOARD)
    days_away = models.PositiveSmallIntegerField(default=0)
    from_bow = models.PositiveSmallIntegerField(
        "from the bow", null=True, blank=True, help_text="Of an area: 1 is the foremost; the way one walks"
    )
    kind = models.CharField(max_length=8, choices=Kind)
    mark = models.CharField(max_length=12, blank=True)
    mark_folded = models.CharField(max_length=24, editable=False, blank=True)
    mark_sort = models.CharField(max_length=400, editable=False, blank=True)
    name = models.CharField(max_length=80, blank=True)
    folded = models.CharField(max_length=200, editable=False, blank=True)
    code = models.CharField(max_length=5, editable=False)
    note = models.CharField(max_length=300, blank=True)
    photo = models.ForeignKey(
        "Paper", on_delete=models.SET_NULL, null=True, blank=True, related_name="photo_of"
    )
    retired_at = models.DateTimeField(null=True, blank=True)
    went_to = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = LocationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(name="location_code_once", fields=["boat", "code"]),
            models.UniqueConstraint(
                name="location_mark_once",
                fields=["boat", "mark_folded"],
                condition=Q(retired_at=None) & ~Q(mark_folded=""),
            ),
            models.UniqueConstraint(
                name="location_one_unstowed", fields=["boat"], condition=Q(kind=Kind.UNSTOWED)
            ),
            models.CheckConstraint(name="location_kind_known", condition=Q(kind__in=Kind.values)),
            models.CheckConstraint(name="location_where_known", condition=Q(where__in=Where.values)),
            models.CheckConstraint(name="location_not_in_itself", condition=~Q(parent=F("id"))),
            models.CheckConstraint(
                name="location_area_is_top",
                condition=Q(kind__in=[Kind.AREA, Kind.UNSTOWED], parent=None)
                | (~Q(kind__in=[Kind.AREA, Kind.UNSTOWED]) & Q(parent__isnull=False)),
            ),
            models.CheckConstraint(name="location_named", condition=~Q(mark="", name="")),
            models.CheckConstraint(name="location_mark_short", condition=Q(mark__length__lte=12)),
        ]

    def __str__(self) -> str:
        return " ".join(word for word in (self.mark, self.name) if word)

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.mark_folded = fold(self.mark)[:24]
        self.mark_sort = natural_key(self.mark or self.name)[:400]
        self.folded = fold(f"{self.mark} {self.name}")[:200]
        super().save(*args, **kwargs)

    @property
    def plate(self) -> str:
        """Return what stands on the plate: the mark, or the name where there is none."""
        return self.mark or self.name

    @property
    def holds_things(self) -> bool:
        return self.kind != Kind.AREA and self.retired_at is None


class Hindrance(models.TextChoices):
    """What lies behind or in a place and must stay reachable. Common practice, no source."""

    SEACOCK = "seacock", "seacock: keep it within reach at all times"
    FIRE_PORT = "fire_port", "fire port: nothing in front of it"
    ISOLATOR = "isolator", "battery isolator: keep it within reach"
    FUEL_SHUT_OFF = "fuel", "fuel shut-off: keep it within reach"
    GAS = "gas", "gas: nothing else in a gas locker, its drain kept clear; work by a competent person"
    ESCAPE = "escape", "way out: keep it clear"
    BILGE_PUMP = "bilge", "bilge pump or strum box: keep it clear"
    STEERING = "steering", "steering gear: nothing loose near it"
    BATTERY = "battery", "batteries: nothing metal loose, ventilated; follow the maker and local rules"
    HOT = "hot", "hot surface: nothing that melts or burns"


# The rest is to be minded, but may be stowed in front of.
NOT_TO_BLOCK = frozenset(Hindrance) - {Hindrance.GAS, Hindrance.BATTERY, Hindrance.HOT, Hindrance.STEERING}


class PlaceCaution(models.Model):
    """A caution that belongs to a place."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    location = models.ForeignKey(Location, on_delete=models.CASCADE, related_name="cautions")
    kind = models.CharField(max_length=12, choices=Hindrance)
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="place_caution_once", fields=["location", "kind"]),
            models.CheckConstraint(name="place_caution_known", condition=Q(kind__in=Hindrance.values)),
        ]

    def __str__(self) -> str:
        return f"{self.head}: {self.get_kind_display()}"

    @property
    def head(self) -> str:
        """Return how the caution begins."""
        return "Do not block" if self.kind in NOT_TO_BLOCK else "Mind"


class Label(models.Model):
    """A code that was minted for a boat. Without a place it is a blank label."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="labels")
    code = models.CharField(max_length=5)
    location = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="labels"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    printed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(name="label_code_once", fields=["boat", "code"]),
            models.CheckConstraint(
                name="label_code_length", condition=Q(code__length__gte=4) & Q(code__length__lte=5)
            ),
        ]

    def __str__(self) -> str:
        return self.code


class PaperKind(models.TextChoices):
    PHOTO = "photo", "Photo"
    RECEIPT = "receipt", "Receipt or invoice"
    MANUAL = "manual", "Manual or data sheet"
    OTHER = "other", "Other paper"


class Paper(models.Model):
    """A photo, receipt or manual, kept once. What it belongs to links down to it."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="papers")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=8, choices=PaperKind)
    in_tray = models.BooleanField(default=False, help_text="Snapped now, to be sorted later")
    name = models.CharField(max_length=120, blank=True)
    content_type = models.CharField(max_length=40)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField(help_text="Bytes")
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(name="paper_number_once", fields=["boat", "number"]),
            models.UniqueConstraint(name="paper_kept_once", fields=["boat", "sha256"]),
            models.CheckConstraint(name="paper_kind_known", condition=Q(kind__in=PaperKind.values)),
        ]

    def __str__(self) -> str:
        return f"Paper {self.number}"


class PlacePaper(models.Model):
    """A paper that belongs to a place."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    location = models.ForeignKey(Location, on_delete=models.CASCADE, related_name="place_papers")
    paper = models.ForeignKey(Paper, on_delete=models.CASCADE, related_name="place_papers")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(name="place_paper_once", fields=["location", "paper"])]

    def __str__(self) -> str:
        return f"{self.paper} of {self.location}"


class Contingency(models.Model):
    """What is kept back for what nobody foresaw, from a date on. The newest counts."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="contingencies")
    amount = models.BigIntegerField(help_text="Minor units of the boat's currency")
    set_on = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["set_on", "id"]
        constraints = [models.CheckConstraint(name="contingency_not_negative", condition=Q(amount__gte=0))]

    def __str__(self) -> str:
        return f"Contingency from {self.set_on}"


class SheetShape(models.Model):
    """How a person read a spreadsheet with these headings, for the next file of the same shape."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    digest = models.CharField(max_length=64)
    kind = models.CharField(max_length=12, blank=True)
    mapping = models.JSONField(help_text="The field of each column, and what the rows do not say")
    used_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [models.UniqueConstraint(name="sheet_shape_once", fields=["boat", "digest"])]

    def __str__(self) -> str:
        return f"{self.kind or 'left out'} {self.digest[:8]}"


class FormKey(models.Model):
    """A form that was acted on. Its key was made on the server; the digest is of what was sent."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, null=True, related_name="+")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=40)
    digest = models.CharField(max_length=64)
    done_at = models.DateTimeField(auto_now_add=True)
    led_to = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="form_key_once", fields=["user", "key", "digest"]),
        ]

    def __str__(self) -> str:
        return self.key
