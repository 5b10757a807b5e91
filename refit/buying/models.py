"""Buying: suppliers, orders and their lines, charges and their shares, deliveries, payments.

Amounts are whole minor units: of the order's currency where the field says so, else of the boat's.
Sums that are stored (goods, charges, landed, delivered, state) are set by `buying.costing` alone.
"""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location, Paper, System
from refit.calc.text import fold
from refit.stores.models import Entry, Lot, Movement, Part, Unit
from refit.work.models import Job


class Supplier(models.Model):
    """Who sells. How they print prices is remembered from their last order."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="suppliers")
    name = models.CharField(max_length=80)
    folded = models.CharField(max_length=160, editable=False)
    currency = models.CharField(max_length=3, blank=True)
    prices_with_tax = models.BooleanField(default=True)
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    web = models.CharField("web address", max_length=200, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(name="supplier_name_once", fields=["boat", "folded"]),
            models.CheckConstraint(name="supplier_name_given", condition=~Q(name="")),
            models.CheckConstraint(name="supplier_name_short", condition=Q(name__length__lte=80)),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.folded = fold(self.name)[:160]
        super().save(*args, **kwargs)


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
    goods = models.BigIntegerField(default=0)
    landed = models.BigIntegerField(default=0)
    delivered = models.BigIntegerField(default=0)
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
    arrived = QuantityField(default=0)
    wont_come = QuantityField(default=0)
    counted = models.BooleanField(default=False, help_text="Stands in sums: placed and not given up")
    goods = models.BigIntegerField(default=0)
    charges = models.BigIntegerField(default=0)
    landed = models.BigIntegerField(default=0)
    delivered = models.BigIntegerField(default=0)

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


class ChargeKind(models.TextChoices):
    FREIGHT = "freight", "Freight"
    DUTY = "duty", "Import duty"
    TAX = "tax", "Tax"
    HANDLING = "handling", "Handling"
    CARD_FEE = "card", "Card fee"
    DISCOUNT = "discount", "Discount"


class BasisChoice(models.TextChoices):
    VALUE = "value", "by value"
    WEIGHT = "weight", "by weight"
    COUNT = "count", "by count"


class Charge(models.Model):
    """What comes on top of (or off) the goods, shared over the lines it covers."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="charges")
    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="charges")
    kind = models.CharField(max_length=8, choices=ChargeKind)
    words = models.CharField(max_length=120, blank=True)
    currency = models.CharField(max_length=3)
    amount = models.BigIntegerField(help_text="Minor units of its own currency; a discount is positive here")
    rate = models.DecimalField(max_digits=15, decimal_places=8, default=1)
    basis = models.CharField(max_length=6, choices=BasisChoice, default=BasisChoice.VALUE)
    over_all = models.BooleanField("over all lines", default=True)
    reclaimable = models.BooleanField(default=False)
    in_prices = models.BooleanField("already in the prices", default=False)
    expected = models.BooleanField(default=False, help_text="The bill has not come yet")
    payee = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="charges"
    )
    billed_on = models.DateField(null=True, blank=True)
    home = models.BigIntegerField(default=0, help_text="Boat's currency; a discount is negative")
    effect = models.BigIntegerField(default=0, help_text="What it adds to landed cost, boat's currency")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(name="charge_kind_known", condition=Q(kind__in=ChargeKind.values)),
            models.CheckConstraint(name="charge_basis_known", condition=Q(basis__in=BasisChoice.values)),
            models.CheckConstraint(name="charge_rate_positive", condition=Q(rate__gt=0)),
            models.CheckConstraint(
                name="charge_amount_in_bounds", condition=Q(amount__gte=0) & Q(amount__lt=10**12)
            ),
            models.CheckConstraint(
                name="charge_tax_marks",
                condition=Q(kind=ChargeKind.TAX) | Q(in_prices=False, reclaimable=False),
            ),
        ]

    def __str__(self) -> str:
        return self.words or self.get_kind_display()


class Share(models.Model):
    """What one line bears of one charge. The shares of a charge add up to its effect."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    charge = models.ForeignKey(Charge, on_delete=models.CASCADE, related_name="shares")
    line = models.ForeignKey(Line, on_delete=models.CASCADE, related_name="shares")
    home = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(name="share_once", fields=["charge", "line"])]

    def __str__(self) -> str:
        return f"{self.charge} on {self.line}"


class Delivery(models.Model):
    """What arrived together, of one order or of several, and what will not come."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="deliveries")
    arrived_on = models.DateField()
    entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="delivery"
    )
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "deliveries"

    def __str__(self) -> str:
        return f"Arrived {self.arrived_on}"


class DeliveryLine(models.Model):
    """So much of one order line that arrived, and as what; or that won't come."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="deliveries")
    quantity = QuantityField(default=0)
    wont_come = QuantityField(default=0)
    part = models.ForeignKey(Part, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    place = models.ForeignKey(Location, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    movement = models.OneToOneField(
        Movement, on_delete=models.PROTECT, null=True, blank=True, related_name="delivery_line"
    )
    value = models.BigIntegerField(default=0, help_text="Its part of the line's landed cost")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                name="delivery_line_says_something",
                condition=Q(quantity__gte=0, wont_come__gte=0) & ~Q(quantity=0, wont_come=0),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.line}"


class Means(models.TextChoices):
    CARD = "card", "Card"
    CASH = "cash", "Cash"
    TRANSFER = "transfer", "Bank transfer"
    OTHER = "other", "Other"


class Payment(models.Model):
    """Money paid, in the boat's currency, split over orders."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="payments")
    paid_on = models.DateField()
    means = models.CharField(max_length=8, choices=Means, default=Means.CARD)
    amount = models.BigIntegerField()
    payer = models.CharField(max_length=80, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["paid_on", "id"]
        constraints = [
            models.CheckConstraint(name="payment_not_negative", condition=Q(amount__gte=0)),
            models.CheckConstraint(name="payment_means_known", condition=Q(means__in=Means.values)),
        ]

    def __str__(self) -> str:
        return f"Paid {self.paid_on}"


class PaymentSplit(models.Model):
    """What of a payment went to one order. The splits of a payment add up to it."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    payment = models.ForeignKey(Payment, on_delete=models.CASCADE, related_name="splits")
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="payment_splits")
    amount = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(name="payment_split_once", fields=["payment", "order"])]

    def __str__(self) -> str:
        return f"{self.payment} on {self.order}"


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
