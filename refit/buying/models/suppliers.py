"""Who sells, on what terms, and at what price."""

from typing import Any

from django.db import models
from django.db.models import Q

from refit.boat.fields import QuantityField
from refit.boat.models import Boat
from refit.calc.text import fold
from refit.stores.models import Part


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
    is_shop = models.BooleanField("a shop we go to", default=False)
    lead_days = models.PositiveSmallIntegerField(
        "days until it is here", null=True, blank=True, help_text="As a rule; unknown is asked, never nought"
    )
    surface_days = models.PositiveSmallIntegerField(
        "days by land or sea", null=True, blank=True, help_text="For goods that may not go by air"
    )
    in_working_days = models.BooleanField("they count working days", default=False)
    country = models.CharField(max_length=2, blank=True, help_text="Whose public holidays they keep")
    region = models.CharField(max_length=10, blank=True)
    free_freight_from = models.BigIntegerField(
        null=True,
        blank=True,
        help_text="Carriage is free from this sum of goods, minor units of their currency",
    )
    usual_freight = models.BigIntegerField(
        null=True, blank=True, help_text="Carriage below that sum, minor units of their currency"
    )
    return_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Goods may go back so many days after they came"
    )
    claim_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Damage is to be claimed within so many days"
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(name="supplier_name_once", fields=["boat", "folded"]),
            models.CheckConstraint(name="supplier_name_given", condition=~Q(name="")),
            models.CheckConstraint(name="supplier_name_short", condition=Q(name__length__lte=80)),
            models.CheckConstraint(
                name="supplier_sums_not_negative",
                condition=(Q(free_freight_from=None) | Q(free_freight_from__gte=0))
                & (Q(usual_freight=None) | Q(usual_freight__gte=0)),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.folded = fold(self.name)[:160]
        super().save(*args, **kwargs)


class OfferQuerySet(models.QuerySet["Offer"]):
    def open(self) -> "OfferQuerySet":
        return self.filter(ended_at=None)


class Offer(models.Model):
    """A supplier's price, pack and lead time for a part, as seen on a day."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="offers")
    supplier = models.ForeignKey(Supplier, on_delete=models.CASCADE, related_name="offers")
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="offers")
    price = models.DecimalField(max_digits=15, decimal_places=4, help_text="For one as sold")
    currency = models.CharField(max_length=3)
    pack_size = QuantityField(default=1, help_text="Units in one as sold: 1 coil = 100 m")
    with_tax = models.BooleanField("the price has tax in it", default=True)
    lead_days = models.PositiveSmallIntegerField(null=True, blank=True)
    surface_days = models.PositiveSmallIntegerField(null=True, blank=True)
    seen_on = models.DateField()
    web = models.CharField("web address", max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = OfferQuerySet.as_manager()

    class Meta:
        ordering = ["-seen_on", "-id"]
        constraints = [
            models.CheckConstraint(name="offer_price_not_negative", condition=Q(price__gte=0)),
            models.CheckConstraint(name="offer_pack_some", condition=Q(pack_size__gt=0)),
            models.CheckConstraint(name="offer_currency_three", condition=Q(currency__length=3)),
        ]

    def __str__(self) -> str:
        return f"{self.part} from {self.supplier}"
