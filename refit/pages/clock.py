"""Whether this machine's clock can be believed.

A chart-table computer that lost its battery writes 1970, or last month, on everything. So the day is doubted when
it lies before the newest record, or more than 60 days past it, and Today asks before anything dated is written.
Changes nothing: the answer is the page's to remember.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import OuterRef, QuerySet, Subquery

from refit.boat.clock import zone
from refit.boat.models import Boat, Budget, Paper
from refit.buying.models import Delivery, Order, Payment
from refit.stores.models import Entry
from refit.work.models import Job

LONG = timedelta(days=60)


@dataclass(frozen=True)
class Doubt:
    """The day by the machine, and the day of the newest record that it does not go with."""

    today: date
    newest: date

    @property
    def backwards(self) -> bool:
        """Return whether the clock stands before the newest record."""
        return self.today < self.newest


def doubt(boat: Boat, today: date) -> Doubt | None:
    """Return why the machine's day can't be believed, or None; one query."""
    newest = newest_record(boat)
    if today < newest or today - newest > LONG:
        return Doubt(today, newest)
    return None


def newest_record(boat: Boat) -> date:
    """Return the day, in the boat's zone, on which something was last entered."""
    kept: list[tuple[QuerySet, str]] = [
        (Entry.objects.all(), "entered_at"),
        (Delivery.objects.all(), "entered_at"),
        (Order.objects.all(), "made_at"),
        (Payment.objects.all(), "entered_at"),
        (Job.objects.all(), "made_at"),
        (Paper.objects.all(), "added_at"),
        (Budget.objects.all(), "entered_at"),
    ]
    newest = {
        f"newest_{at}": Subquery(rows.filter(boat=OuterRef("pk")).order_by("-pk").values(name)[:1])
        for at, (rows, name) in enumerate(kept)
    }
    row = Boat.objects.filter(pk=boat.pk).annotate(**newest).values_list(*newest, "created_at").get()
    return max(moment.astimezone(zone(boat)).date() for moment in row if moment)
