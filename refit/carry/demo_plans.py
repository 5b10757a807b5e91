"""What the demo's owner expected to spend: budgets as they were changed, what is kept back, estimates of jobs."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial

from django.contrib.auth.models import User

from refit.boat.actions import boats
from refit.boat.models import Boat, System
from refit.calc.money import to_minor
from refit.carry.demo_files import Files, Row
from refit.carry.demo_stores import Happening, Stores
from refit.work import estimates
from refit.work.models import Estimate

PLANNED = 11  # on one day, after all that happened


@dataclass
class Plans:
    """The budgets and estimates of the demo, each from its day on."""

    boat: Boat
    files: Files
    users: dict[str, User]
    systems: dict[str, System]
    stores: Stores
    made: dict[tuple[int, str], Estimate] = field(default_factory=dict)

    def happenings(self) -> Iterator[Happening]:
        """Yield each budget and estimate on its day."""
        for name, deed in (("budgets.csv", self._budget), ("estimates.csv", self._estimate)):
            for row in self.files.rows(name):
                yield Happening((row.whole("day") or 0, PLANNED, row.number), partial(deed, row))

    def _budget(self, row: Row) -> None:
        """Set the budget of a system, or what is kept back for the unforeseen where none is named."""
        amount = to_minor(row.amount("amount"), self.boat.currency)
        on, by, note = row.day("day") or row.made_on, self.users[row.given("by")], row.text("note")
        if row.text("system"):
            boats.set_budget(self.systems[row.given("system")], amount, on=on, by=by, note=note)
        else:
            boats.set_contingency(self.boat, amount, on=on, by=by, note=note)

    def _estimate(self, row: Row) -> None:
        """Estimate a service of a job; in later rows the amount is another, or it was ordered."""
        job, words, on = self.stores.job(row), row.given("words"), row.day("day") or row.made_on
        there = self.made.get((job.pk, words))
        if row.yes("ordered"):
            if there is None:
                raise row.wrong(f"closes {words!r}, which was never estimated")
            estimates.close_estimate(there, on=on, today=row.made_on)
            return
        amount = to_minor(row.amount("amount"), self.boat.currency)
        by = self.users[row.given("by")]
        if there is None:
            made = estimates.add_estimate(job, words=words, amount=amount, on=on, today=row.made_on, by=by)
            self.made[(job.pk, words)] = made
        else:
            estimates.change_amount(there, amount, on=on, today=row.made_on, by=by)
