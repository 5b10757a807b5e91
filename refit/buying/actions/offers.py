"""Offers: a supplier's price for a part as it was seen on a day; changed, ended, opened again."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.buying.actions.writing import DEAREST, check_day, check_lead
from refit.buying.models import Offer, Supplier
from refit.calc.money import minor_digits
from refit.stores.models import Part


@dataclass(frozen=True)
class OfferFacts:
    """An offer as typed: the price is for one as sold, of `pack_size` units."""

    supplier: Supplier
    price: Decimal
    currency: str
    seen_on: date
    pack_size: Decimal = Decimal(1)
    with_tax: bool = True
    lead_days: int | None = None
    surface_days: int | None = None
    web: str = ""
    note: str = ""


@transaction.atomic
def add_offer(part: Part, facts: OfferFacts, *, today: date) -> Offer:
    """Write down what a supplier asks for a part."""
    boat = lock(part.boat)
    return Offer.objects.create(boat=boat, part=part, **_checked(boat, facts, today))


@transaction.atomic
def change_offer(offer: Offer, facts: OfferFacts, *, today: date) -> Offer:
    """Put an offer right, or say what they ask now."""
    boat = lock(offer.boat)
    fresh = standing(Offer.objects.all(), offer.pk, "This price")
    if fresh.ended_at is not None:
        raise Refused("This price has ended; write down a new one.", code="ended")
    for name, value in _checked(boat, facts, today).items():
        setattr(fresh, name, value)
    fresh.save()
    return fresh


@transaction.atomic
def end_offer(offer: Offer) -> Offer:
    """Say that they no longer sell it at this price; it is compared no more."""
    lock(offer.boat)
    fresh = standing(Offer.objects.all(), offer.pk, "This price")
    if fresh.ended_at is not None:
        raise Refused("This price has ended already.", code="ended")
    fresh.ended_at = timezone.now()
    fresh.save(update_fields=["ended_at"])
    return fresh


@transaction.atomic
def reopen_offer(offer: Offer) -> Offer:
    """Take an end back (undo)."""
    lock(offer.boat)
    fresh = standing(Offer.objects.all(), offer.pk, "This price")
    if fresh.ended_at is None:
        raise Refused("This price has not ended.", code="open")
    fresh.ended_at = None
    fresh.save(update_fields=["ended_at"])
    return fresh


def _checked(boat: Boat, facts: OfferFacts, today: date) -> dict[str, Any]:
    if facts.supplier.boat_id != boat.pk:
        raise Refused("That supplier is not of this boat.", code="other_boat", field="supplier")
    try:
        minor_digits(facts.currency)
    except ValueError as problem:
        raise Refused(str(problem), code="currency", field="currency") from None
    if not 0 <= facts.price < DEAREST:
        raise Refused(f"{facts.price} cannot be a price.", code="price", field="price")
    if not Decimal("0.001") <= facts.pack_size < 10**6:
        raise Refused(
            "How many are in one as sold? More than nought, below a million.", code="pack", field="pack_size"
        )
    for name in ("lead_days", "surface_days"):
        check_lead(getattr(facts, name), name)
    check_day(facts.seen_on, today, "seen_on")
    return {
        "supplier": facts.supplier,
        "price": facts.price,
        "currency": facts.currency,
        "pack_size": facts.pack_size,
        "with_tax": facts.with_tax,
        "lead_days": facts.lead_days,
        "surface_days": facts.surface_days,
        "seen_on": facts.seen_on,
        "web": facts.web,
        "note": facts.note,
    }
