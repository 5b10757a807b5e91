"""Setting things aside: they lie where they lie, and may not be used."""

from decimal import Decimal

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from refit.boat.actions.boats import lock
from refit.boat.refusals import Refused
from refit.calc.numbers import format_quantity
from refit.stores.models import Holding, SetAside


@transaction.atomic
def set_aside(holding: Holding, quantity: Decimal, why: str) -> SetAside:
    """Set so much of a holding aside."""
    lock(holding.boat)
    fresh = Holding.objects.select_related("part", "place").get(pk=holding.pk)
    free = fresh.quantity - aside_of(fresh)
    if quantity > free:
        raise Refused(
            f"There is {format_quantity(free)} of {fresh.part} free in {fresh.place}, not {format_quantity(quantity)}.",
            code="more_than_there",
            field="quantity",
        )
    return SetAside.objects.create(boat=fresh.boat, holding=fresh, quantity=quantity, why=why[:120])


@transaction.atomic
def use_again(aside: SetAside) -> None:
    """Free what was set aside."""
    lock(aside.boat)
    aside.closed_at = timezone.now()
    aside.save(update_fields=["closed_at"])


def aside_of(holding: Holding) -> Decimal:
    """Return how much of a holding is set aside."""
    total = SetAside.objects.filter(holding=holding, closed_at=None).aggregate(total=Sum("quantity"))["total"]
    return total or Decimal(0)
