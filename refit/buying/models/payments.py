"""Payments, split over what they paid for."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from refit.boat.models import Boat
from refit.buying.models.charges import Charge
from refit.buying.models.orders import Order
from refit.buying.models.suppliers import Supplier


class Means(models.TextChoices):
    CARD = "card", "Card"
    CASH = "cash", "Cash"
    TRANSFER = "transfer", "Bank transfer"
    STORE_CREDIT = "credit", "Store credit"
    OTHER = "other", "Other"


class Payment(models.Model):
    """Money paid, in the boat's currency, split to the last minor unit over what it paid for."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="payments")
    paid_on = models.DateField()
    means = models.CharField(max_length=8, choices=Means, default=Means.CARD)
    amount = models.BigIntegerField()
    payer = models.CharField("paid by", max_length=80, blank=True)
    payee = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="payments"
    )
    reference = models.CharField(max_length=60, blank=True)
    is_deposit = models.BooleanField("deposit", default=False)
    we_owe = models.BooleanField("to be paid back to who paid", default=False)
    paid_back_on = models.DateField(null=True, blank=True)
    with_order = models.BooleanField(
        default=False, help_text="Made by placing an order that the card was charged for"
    )
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["paid_on", "id"]
        constraints = [
            models.CheckConstraint(name="payment_not_negative", condition=Q(amount__gte=0)),
            models.CheckConstraint(name="payment_means_known", condition=Q(means__in=Means.values)),
            models.CheckConstraint(
                name="payment_paid_back_if_owed", condition=Q(paid_back_on=None) | Q(we_owe=True)
            ),
        ]

    def __str__(self) -> str:
        return f"Paid {self.paid_on}"


class PaymentSplit(models.Model):
    """What of a payment went to one order, or to one charge of another payee. The splits add up to the payment."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+")
    payment = models.ForeignKey(Payment, on_delete=models.CASCADE, related_name="splits")
    order = models.ForeignKey(
        Order, on_delete=models.PROTECT, null=True, blank=True, related_name="payment_splits"
    )
    charge = models.ForeignKey(
        Charge, on_delete=models.PROTECT, null=True, blank=True, related_name="payment_splits"
    )
    amount = models.BigIntegerField()
    settles = models.BigIntegerField(
        null=True,
        blank=True,
        help_text="What it settled, minor units of the order's currency; sets the rate for so much and no more",
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(name="payment_split_once", fields=["payment", "order"]),
            models.UniqueConstraint(name="payment_split_once_charge", fields=["payment", "charge"]),
            models.CheckConstraint(
                name="payment_split_for_one",
                condition=Q(order=None, charge__isnull=False) | Q(order__isnull=False, charge=None),
            ),
            models.CheckConstraint(
                name="payment_split_settles_some", condition=Q(settles=None) | Q(settles__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.payment} on {self.order or self.charge}"


class Repeat(models.Model):
    """An order that comes again (storage, a berth): confirmed each time, never made silently."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="repeats")
    order = models.OneToOneField(Order, on_delete=models.CASCADE, related_name="repeat")
    every_months = models.PositiveSmallIntegerField(default=1)
    next_on = models.DateField()
    stopped_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["next_on", "id"]
        constraints = [
            models.CheckConstraint(
                name="repeat_between_one_and_sixty",
                condition=Q(every_months__gte=1) & Q(every_months__lte=60),
            )
        ]

    def __str__(self) -> str:
        return f"{self.order} again on {self.next_on}"
