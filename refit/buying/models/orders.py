"""Orders and their lines: what was bought from whom, for which job, system and place."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location, Paper, System
from refit.buying.models.suppliers import Supplier
from refit.stores.models import Need, Part, Unit
from refit.work.models import Job


class OrderState(models.TextChoices):
    DRAFT = "draft", "Not ordered yet"
    ORDERED = "ordered", "Ordered"
    PART_ARRIVED = "part", "Part arrived"
    ARRIVED = "arrived", "Arrived"
    CANCELLED = "cancelled", "Cancelled"


COUNTED_STATES = (OrderState.ORDERED, OrderState.PART_ARRIVED, OrderState.ARRIVED)
COMING_STATES = (OrderState.ORDERED, OrderState.PART_ARRIVED)


class RateSource(models.TextChoices):
    HOME = "home", "the boat's own currency"
    ECB = "ecb", "European Central Bank"
    TYPED = "typed", "typed"
    CHARGED = "charged", "from what the card was charged"


class OrderQuerySet(models.QuerySet["Order"]):
    def counted(self) -> "OrderQuerySet":
        """Return the orders that are in sums: placed, and not cancelled before anything came."""
        return self.filter(state__in=COUNTED_STATES)

    def coming(self) -> "OrderQuerySet":
        return self.filter(state__in=COMING_STATES)

    def late(self, day: Any) -> "OrderQuerySet":
        return self.coming().filter(expected_on__lt=day)


class Order(models.Model):
    """A purchase from one supplier."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="orders")
    number = models.PositiveIntegerField()
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=9, choices=OrderState, default=OrderState.DRAFT)
    ordered_on = models.DateField(null=True, blank=True)
    expected_on = models.DateField(null=True, blank=True)
    reference = models.CharField(max_length=60, blank=True)
    currency = models.CharField(max_length=3)
    rate = models.DecimalField(
        max_digits=15,
        decimal_places=8,
        default=1,
        help_text="Units of the order's currency for one of the boat's",
    )
    rate_source = models.CharField(max_length=7, choices=RateSource, default=RateSource.HOME)
    rate_on = models.DateField(null=True, blank=True, help_text="The day the rate was published")
    prices_with_tax = models.BooleanField(default=True)
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    charged = models.BigIntegerField(
        null=True, blank=True, help_text="What the card was charged in all, in the boat's currency"
    )
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="orders")
    note = models.CharField(max_length=500, blank=True)
    chase_on = models.DateField(null=True, blank=True, help_text="The day to ask after it")
    return_by = models.DateField(null=True, blank=True, help_text="The last day on which it may go back")
    claim_by = models.DateField(null=True, blank=True, help_text="The last day to claim damage or a refund")
    goods = models.BigIntegerField(default=0)
    landed = models.BigIntegerField(default=0)
    delivered = models.BigIntegerField(default=0)
    refunded = models.BigIntegerField(default=0)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(name="order_number_once", fields=["boat", "number"]),
            models.CheckConstraint(name="order_state_known", condition=Q(state__in=OrderState.values)),
            models.CheckConstraint(name="order_rate_positive", condition=Q(rate__gt=0)),
            models.CheckConstraint(name="order_currency_three", condition=Q(currency__length=3)),
            models.CheckConstraint(
                name="order_placed_has_date",
                condition=Q(ordered_on__isnull=False) | Q(state__in=[OrderState.DRAFT, OrderState.CANCELLED]),
            ),
            models.CheckConstraint(
                name="order_charged_not_negative", condition=Q(charged=None) | Q(charged__gte=0)
            ),
        ]

    def __str__(self) -> str:
        return f"Order {self.number}"

    @property
    def is_draft(self) -> bool:
        return self.state == OrderState.DRAFT


class LineKind(models.TextChoices):
    PART = "part", "Part"
    WORDS = "words", "In words"
    SERVICE = "service", "Service"


class PricedBy(models.TextChoices):
    EACH = "each", "price each"
    TOTAL = "total", "price in all"


class Line(models.Model):
    """What was ordered, how many, for which job and system, and the locker it is for."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="lines")
    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=7, choices=LineKind)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="lines")
    words = models.CharField(max_length=200, blank=True)
    packs = QuantityField(default=1, help_text="How many, as sold")
    pack_size = QuantityField(default=1, help_text="Units in one as sold: 1 coil = 100 m")
    quantity = QuantityField(default=1, help_text="Packs × pack size")
    unit = models.CharField(max_length=6, choices=Unit, default=Unit.EACH)
    priced_by = models.CharField(max_length=5, choices=PricedBy, default=PricedBy.EACH)
    unit_price = models.DecimalField(max_digits=15, decimal_places=4, help_text="For one as sold")
    amount = models.BigIntegerField(help_text="The line in all, minor units of the order's currency")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="lines")
    system = models.ForeignKey(System, on_delete=models.PROTECT, null=True, blank=True, related_name="lines")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, null=True, blank=True, related_name="lines")
    need = models.ForeignKey(Need, on_delete=models.SET_NULL, null=True, blank=True, related_name="lines")
    replaces = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    second_hand = models.BooleanField("second-hand", default=False)
    gift_value = models.BigIntegerField(
        "what it is worth", null=True, blank=True, help_text="A gift costs nothing; this is for the insurer"
    )
    arrived = QuantityField(default=0)
    wont_come = QuantityField(default=0)
    counted = models.BooleanField(default=False, help_text="Stands in sums: placed and not given up")
    goods = models.BigIntegerField(default=0)
    charges = models.BigIntegerField(default=0)
    landed = models.BigIntegerField(default=0)
    delivered = models.BigIntegerField(default=0)
    refunded = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["order_id", "position"]
        indexes = [models.Index(name="line_boat_counted", fields=["boat", "counted"])]
        constraints = [
            models.UniqueConstraint(name="line_position_once", fields=["order", "position"]),
            models.CheckConstraint(name="line_kind_known", condition=Q(kind__in=LineKind.values)),
            models.CheckConstraint(name="line_says_what", condition=~Q(part=None, words="")),
            models.CheckConstraint(
                name="line_part_is_part",
                condition=(Q(kind=LineKind.PART) & Q(part__isnull=False))
                | (~Q(kind=LineKind.PART) & Q(part=None)),
            ),
            models.CheckConstraint(name="line_quantity_positive", condition=Q(quantity__gt=0)),
            models.CheckConstraint(name="line_arrived_not_negative", condition=Q(arrived__gte=0)),
            models.CheckConstraint(name="line_wont_come_not_negative", condition=Q(wont_come__gte=0)),
            models.CheckConstraint(
                name="line_amount_in_bounds", condition=Q(amount__gte=0) & Q(amount__lt=10**12)
            ),
            models.CheckConstraint(
                name="line_counted_has_system", condition=Q(counted=False) | Q(system__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return self.what

    @property
    def what(self) -> str:
        return self.part.name if self.part else self.words

    @property
    def wanted(self) -> Any:
        """Return how much is bought: what was ordered less what won't come."""
        return self.quantity - self.wont_come

    @property
    def open_quantity(self) -> Any:
        """Return how much is still to come."""
        return max(self.wanted - self.arrived, self.quantity - self.quantity)

    @property
    def state_words(self) -> str:
        if self.wanted <= 0:
            return "cancelled"
        if self.arrived <= 0:
            return "ordered" if self.counted else "not ordered yet"
        return "arrived" if self.arrived >= self.wanted else "part arrived"


class OrderPaper(models.Model):
    """A paper that belongs to an order."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="order_papers")
    paper = models.ForeignKey(Paper, on_delete=models.CASCADE, related_name="order_papers")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(name="order_paper_once", fields=["order", "paper"])]

    def __str__(self) -> str:
        return f"{self.paper} of {self.order}"


class Promise(models.Model):
    """A day that somebody promised for an order. The newest is the day it is expected."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="promises")
    day = models.DateField(null=True, blank=True, help_text="Nothing: they do not know")
    who = models.CharField("who said so", max_length=80, blank=True)
    said_on = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["said_on", "id"]

    def __str__(self) -> str:
        return f"{self.order} promised for {self.day}"
