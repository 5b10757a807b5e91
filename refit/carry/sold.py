"""What stands outside Ordered: old gear sold, given away or bartered; gifts that came and second-hand gear."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from refit.boat.models import Boat, System
from refit.buying import spend
from refit.buying.models import COUNTED_STATES, Disposal, Line
from refit.buying.spend import Filters
from refit.reports.spend import GivenRow

GIFT, SECOND_HAND = "Came as a gift", "Bought second-hand"


def gifts_and_second_hand(boat: Boat) -> list[Line]:
    """Return the ordered lines that were a gift or bought second-hand, for the insurer; the newest first."""
    marked = Q(second_hand=True) | Q(gift_value__isnull=False)
    rows = Line.objects.filter(marked, boat=boat, order__state__in=COUNTED_STATES)
    return list(
        rows.select_related("order__supplier", "system", "part").order_by(
            "-order__ordered_on", "-order_id", "-id"
        )
    )


@dataclass(frozen=True)
class Sold:
    """What was got for old gear, and what gifts are worth: outside what was ordered."""

    got: int
    worth: int
    any: bool


def sold(boat: Boat, filters: Filters) -> Sold:
    """Return what stands under spend, outside Ordered, under the same filters."""
    rows = given(boat, filters)
    gifts = sum(row.worth for row in rows if row.how == GIFT)
    return Sold(sum(row.got for row in rows), gifts, bool(rows))


def given(boat: Boat, filters: Filters) -> list[GivenRow]:
    """Return what left the boat, then what came as a gift or second-hand; a filter for jobs or sellers hides both."""
    if filters.job or filters.no_job or filters.supplier:
        return []
    left = Disposal.objects.filter(boat=boat).select_related("system", "part")
    gone = [
        row for row in left.order_by("happened_on", "id") if _within(row.happened_on, row.system, filters)
    ]
    came = [
        line
        for line in reversed(gifts_and_second_hand(boat))
        if line.system and _within(line.order.ordered_on, line.system, filters)
    ]
    parts = {row.part_id for row in gone if row.part_id} | {line.part_id for line in came if line.part_id}
    numbers = spend.part_numbers(boat, parts)
    return [
        *(
            GivenRow(
                date=row.happened_on,
                how=row.get_kind_display(),
                what=row.what,
                part_number=numbers.get(row.part_id or 0, ""),
                system=row.system.name,
                whom=row.buyer,
                got=row.amount,
                worth=0,
                note=row.note,
            )
            for row in gone
        ),
        *(
            GivenRow(
                date=line.order.ordered_on,
                how=SECOND_HAND if line.gift_value is None else GIFT,
                what=line.what,
                part_number=numbers.get(line.part_id or 0, ""),
                system=line.system.name if line.system else "",
                whom=line.order.supplier.name,
                got=0,
                worth=line.landed - line.refunded if line.gift_value is None else line.gift_value,
                note=f"Order {line.order.number}",
            )
            for line in came
        ),
    ]


def _within(day: date | None, system: System, filters: Filters) -> bool:
    """Say whether a filter by days, group and system lets this through."""
    if day is None or (filters.since and day < filters.since) or (filters.until and day > filters.until):
        return False
    return (not filters.group or system.group == filters.group) and (
        not filters.system or system.pk == filters.system
    )
