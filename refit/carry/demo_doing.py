"""What the demo's people did on jobs: hours, how jobs were done, what is fitted now, what lies in bags with its photos."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib.auth.models import User

from refit.boat.actions import labels as labelling
from refit.boat.actions.papers import add_paper
from refit.boat.models import Boat, Label, Paper, PaperKind, System
from refit.carry.demo_dates import tell_all
from refit.carry.demo_files import Files, Row
from refit.carry.demo_papers import lines_of, photo
from refit.carry.demo_stores import Stores
from refit.stores.actions import bags
from refit.stores.actions.needs import want_for_bag
from refit.voyage.actions import Fitted, fit, take_out
from refit.work.actions.doing import Done, Worked, finish, set_hours


@dataclass
class Doing:
    """The record of work of the demo."""

    boat: Boat
    files: Files
    users: dict[str, User]
    systems: dict[str, System]
    stores: Stores

    def write_down(self) -> str:
        """Write down hours, finishes, fitted gear and bags; say how many."""
        hours = self._hours()
        tell_all(self.files, "finishes.csv", self._finish)
        fitted = tell_all(self.files, "gear.csv", self._fit)
        return f"{hours} entries of hours, {fitted} fitted things, {self._bags()} bags with photos"

    def _hours(self) -> int:
        """Spread each row over its days, and write down each day as it was said that night."""
        days: dict[date, list[Worked]] = defaultdict(list)
        for row in self.files.rows("hours.csv"):
            user = self.users.get(row.given("who"))
            minutes = int(row.amount("hours") * 60)
            job, helper = self.stores.job(row), "" if user else row.given("who")
            first, last, every = (row.whole(name) or 0 for name in ("first", "last", "every"))
            for ago in range(first, last + 1, every):
                days[row.made_on + timedelta(days=ago)].append(Worked(job, minutes, user, helper))
        for day in sorted(days):
            set_hours(self.boat, day, days[day], by=self.users["skipper"], today=self.files.made_on)
        return sum(map(len, days.values()))

    def _finish(self, row: Row) -> None:
        job = self.stores.job(row)
        job.refresh_from_db()
        said = Done(
            done_by=row.given("by"),
            name=row.text("name"),
            certificate=row.text("certificate"),
            method=row.text("method"),
            materials=row.text("materials"),
            test_result=row.text("test"),
            instrument=row.text("instrument"),
        )
        finish(job, said, on=job.done_on or row.made_on, by=self.users["skipper"], today=row.made_on)

    def _fit(self, row: Row) -> None:
        part = self.stores.part(row) if row.text("part") else None
        job = self.stores.job(row) if row.text("job") else None
        fitted, lasts = row.day("fitted"), row.whole("warranty")
        system = self.systems[row.given("system")] if row.text("system") else job.system if job else None
        if system is None:
            raise row.wrong("names neither a job nor a system")
        gear = fit(
            self.boat,
            Fitted(
                name=row.text("name") or (part.name if part else ""),
                system=system,
                part=part,
                quantity=row.whole("quantity") or 1,
                maker=row.text("maker"),
                model=row.text("model"),
                serial=row.text("serial"),
                place=self.stores.place(row, "place") if row.text("place") else None,
                where=row.text("where"),
                fitted_on=fitted,
                warranty_until=fitted + timedelta(days=lasts) if fitted and lasts else None,
                note=row.text("note"),
            ),
            by=self.users["skipper"],
            today=row.made_on,
            job=job,
        )
        removed = row.day("removed")
        if removed is not None:
            take_out(gear, on=removed, today=row.made_on)

    def _bags(self) -> int:
        shots = self._by_job("bag_photos.csv")
        wants = self._by_job("bag_wants.csv")

        def bag(row: Row) -> None:
            number = row.whole("job") or 0
            self._bag(row, shots[number], wants[number])

        return tell_all(self.files, "bags.csv", bag)

    def _bag(self, row: Row, shots: list[Row], wants: list[Row]) -> None:
        # The codes of the demo's labels stand in its data.
        label = Label.objects.create(boat=self.boat, code=row.given("code"))
        on, by = row.day("day") or row.made_on, self.users[row.given("by")]
        bag = bags.bag_up(
            self.stores.job(row),
            what=row.given("what"),
            note=row.text("how"),
            place=self.stores.place(row, "place"),
            label=label,
            photos=[self._photo(shot, by) for shot in shots],
            by=by,
            on=on,
            today=row.made_on,
        )
        labelling.mark_printed(Label.objects.filter(pk=label.pk))
        for want in wants:
            part = self.stores.part(want) if want.text("part") else None
            want_for_bag(bag, part=part, words=want.text("words"), quantity=want.amount("quantity"), on=on)
        back = row.day("back")
        if back is not None:
            bags.put_together(bag, on=back)

    def _photo(self, shot: Row, by: Any) -> Paper:
        return add_paper(
            self.boat, photo(lines_of([shot])), kind=PaperKind.PHOTO, by=by, name=shot.given("left")
        )

    def _by_job(self, name: str) -> dict[int, list[Row]]:
        found: dict[int, list[Row]] = defaultdict(list)
        for row in self.files.rows(name):
            found[row.whole("job") or 0].append(row)
        return found
