"""The demo's dates: how long jobs take and where, what comes after what, who is booked, milestones, days away.

Every weekday is worked and no country's holidays count, so that the story is the same on whatever day it is told.
"""

from collections.abc import Callable
from dataclasses import dataclass

from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.calc.money import to_minor
from refit.carry.demo_files import Files, Row
from refit.carry.demo_stores import Stores
from refit.work.actions import dates as dating
from refit.work.actions import plan_job, set_state
from refit.work.models import Priority, State


@dataclass
class Dates:
    """What the demo says of days; the jobs are those of the stores, by their numbers."""

    boat: Boat
    files: Files
    stores: Stores

    def set_down(self) -> str:
        """Write down working days, the plan of each job, arrows, bookings and milestones; say how many."""
        self._working_days()
        planned = tell_all(self.files, "dates.csv", self._plan)
        arrows = tell_all(self.files, "after.csv", self._arrow)
        booked = tell_all(self.files, "bookings.csv", self._booking)
        moments = tell_all(self.files, "milestones.csv", self._milestone)
        return f"Dates of {planned} jobs, {arrows} arrows, {booked} bookings, {moments} milestones"

    def _working_days(self) -> None:
        terms = self.files.facts("boat.toml")["work"]
        dating.set_terms(
            self.boat,
            weekdays=terms["weekdays"],
            margin_days=terms["margin_days"],
            hour_rate=to_minor(terms["hour_rate"], self.boat.currency),
        )
        for row in self.files.rows("away.csv"):
            first, last = row.day("first") or row.made_on, row.day("last")
            dating.add_days_away(self.boat, first, last, today=row.made_on, why=row.text("why"))

    def _plan(self, row: Row) -> None:
        job = self.stores.job(row)
        plan_job(
            job,
            today=row.made_on,
            days=row.number_or_none("days"),
            priority=row.whole("priority") or Priority.NORMAL,
            not_before=row.day("not_before"),
            space=self.stores.place(row, "space") if row.text("space") else None,
            sole_use=row.yes("sole"),
            dry=row.yes("dry"),
            above_celsius=row.whole("above"),
            cure_days=row.whole("cure") or 0,
            traits=row.text("traits").split(),
        )
        begun = row.day("begun")
        if begun is not None:
            set_state(job, State.IN_HAND, today=begun)

    def _arrow(self, row: Row) -> None:
        dating.come_after(self.stores.job(row), self.stores.job(row, "after"))

    def _booking(self, row: Row) -> None:
        coming = dating.Coming(
            day=row.day("day") or row.made_on,
            days=row.whole("days") or 1,
            who=row.given("who"),
            note=row.text("note"),
        )
        made = dating.book(self.stores.job(row), coming, today=row.made_on)
        if row.yes("cancelled"):
            dating.cancel_booking(made)

    def _milestone(self, row: Row) -> None:
        made = dating.add_milestone(
            self.boat,
            kind=row.given("kind"),
            name=row.given("name"),
            target=row.day("target"),
            job=self.stores.job(row) if row.text("job") else None,
            today=row.made_on,
        )
        reached = row.day("reached")
        if reached is not None:
            dating.reach_milestone(made, on=reached, today=row.made_on)


def tell_all(files: Files, name: str, deed: Callable[[Row], None]) -> int:
    """Let a deed be done for each row of a table; return how many there are."""
    rows = list(files.rows(name))
    for row in rows:
        told(row, deed)
    return len(rows)


def told(row: Row, deed: Callable[[Row], None]) -> None:
    """Let a deed be done as a row tells it, or raise `BadFile` with the row and why it is refused."""
    try:
        deed(row)
    except Refused as refused:
        raise row.wrong(f"is refused: {refused.messages[0].rstrip('.')}") from None
