"""Old gear that left the boat: written down outside what was ordered."""

from datetime import date
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat, System
from refit.boat.refusals import Refused
from refit.buying.models import Disposal, DisposalKind


@transaction.atomic
def add_disposal(
    boat: Boat,
    *,
    kind: str,
    what: str,
    system: System,
    on: date,
    amount: int,
    by: Any,
    today: date,
    **facts: Any,
) -> Disposal:
    """Write down what was sold, given away or bartered."""
    lock(boat)
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="happened_on")
    if amount < 0 or amount >= 10**12:
        raise Refused("How much was got for it? Nil or more.", code="amount", field="amount")
    if kind == DisposalKind.GIVEN and amount:
        raise Refused(
            "What was given away brought nothing; say sold or bartered.", code="gift", field="amount"
        )
    return Disposal.objects.create(
        boat=boat, kind=kind, what=what, system=system, happened_on=on, amount=amount, entered_by=by, **facts
    )


@transaction.atomic
def remove_disposal(disposal: Disposal) -> None:
    """Take it back (undo, or a mistake)."""
    lock(disposal.boat)
    standing(Disposal.objects.all(), disposal.pk, "What left the boat").delete()
