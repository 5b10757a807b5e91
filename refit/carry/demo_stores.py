"""The demo's places, parts and jobs, and what went in and out."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from typing import Any

from django.contrib.auth.models import User

from refit.boat.actions import labels as labelling
from refit.boat.actions import places as placing
from refit.boat.models import Boat, Kind, Label, Location, Member, System
from refit.boat.refusals import Refused
from refit.calc.money import to_minor
from refit.carry.demo_files import BadFile, Files, Row
from refit.stores.actions import parts as part_actions
from refit.stores.actions import stow
from refit.stores.models import Holding, Need, Part
from refit.work.actions import add_job, set_state
from refit.work.models import Job, State

FIRST_LIST = 270  # so many days ago the first list of jobs was made


@dataclass(frozen=True)
class Happening:
    """Something that happened on a day; `when` sorts by day, then by what must come first.

    Its deed is done with the row of data that tells it, or with the rows that tell it together.
    """

    when: tuple[int, int, int]
    deed: partial[Any]

    def do(self) -> None:
        """Let it happen, or raise `BadFile` with the row and why it is refused."""
        try:
            self.deed()
        except Refused as refused:
            told: Any = self.deed.args[0]
            row: Row = told[0] if isinstance(told, list) else told
            raise row.wrong(f"is refused: {refused.messages[0].rstrip('.')}") from None


@dataclass
class Stores:
    """What the demo has made of places, parts and jobs so far, by the names that the data uses."""

    boat: Boat
    files: Files
    users: dict[str, User]
    systems: dict[str, System]
    places: dict[str, Location] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    jobs: dict[int, Job] = field(default_factory=dict)

    def lay_out(self) -> str:
        """Make the places with the codes of their labels, and the blank labels."""
        for row in self.files.rows("places.csv"):
            self._place(row)
        # The places' labels were stuck on long ago; the blank ones are still to be printed.
        labelling.mark_printed(Label.objects.filter(boat=self.boat))
        self.places["not stowed"] = Location.objects.get(boat=self.boat, kind=Kind.UNSTOWED)
        for row in self.files.rows("blank_labels.csv"):
            Label.objects.create(boat=self.boat, code=row.given("code"))
        return f"{len(self.places)} places with their labels"

    def _place(self, row: Row) -> None:
        kind, mark, name = row.given("kind"), row.text("mark"), row.text("name")
        facts: dict[str, Any] = {"note": row.text("note")}
        if kind == Kind.AREA:
            facts |= {"where": row.given("where"), "days_away": row.whole("days_away") or 0}
        place = placing.add_place(
            self.boat,
            kind=kind,
            parent=None if kind == Kind.AREA else self.place(row, "in"),
            mark=mark,
            name=name,
            label=Label.objects.create(boat=self.boat, code=row.given("code")),
            **facts,
        )
        self.places[mark or name] = place
        if row.text("cautions"):
            pairs = [caution.partition(":") for caution in row.text("cautions").split(";")]
            placing.set_cautions(place, [(kind.strip(), words.strip()) for kind, _, words in pairs])

    def list_parts(self) -> str:
        """Make the parts with all their numbers."""
        numbers: dict[str, list[tuple[str, str, str]]] = defaultdict(list)
        for row in self.files.rows("numbers.csv"):
            numbers[row.given("part")].append((row.given("kind"), row.given("number"), row.text("whose")))
        for row in self.files.rows("parts.csv"):
            self.parts[row.given("part")] = self._part(row, numbers.pop(row.given("part"), []))
        if numbers:
            raise BadFile(f"numbers.csv has numbers of parts that are not known: {', '.join(numbers)}.")
        return f"{len(self.parts)} parts with their numbers"

    def _part(self, row: Row, numbers: list[tuple[str, str, str]]) -> Part:
        return part_actions.add_part(
            self.boat,
            name=row.given("name"),
            numbers=numbers,
            specification=row.text("specification"),
            unit=row.given("unit"),
            kept=row.given("kept"),
            weight_kg=row.number_or_none("weight_kg"),
            hazard=row.text("hazard"),
            system=self.systems[row.given("system")],
            usual_place=self.place(row, "usual_place") if row.text("usual_place") else None,
            is_spare=row.yes("spare"),
            minimum=row.amount("minimum", "0"),
            has_expiry=row.yes("runs_out"),
            has_serial=row.yes("serial"),
        )

    def list_jobs(self) -> str:
        """Make the jobs, planned, with what they want; how far they are is set at the end."""
        members = {
            m.user.get_username(): m for m in Member.objects.filter(boat=self.boat).select_related("user")
        }
        for row in self.files.rows("jobs.csv"):
            job = add_job(
                self.boat,
                title=row.given("title"),
                system=self.systems[row.given("system")],
                by=self.users["skipper"],
                before=row.given("before"),
                note=row.text("note"),
                given_to=members[row.text("given_to")] if row.text("given_to") else None,
                found_on_the_way=row.yes("found"),
            )
            if job.number != row.whole("job"):
                raise row.wrong(f"is job {job.number}; number the jobs from 1 without gaps")
            self.jobs[job.number] = job
        for row in self.files.rows("needs.csv"):
            part = self.part(row) if row.text("part") else None
            # Nearly all of them stood on the list from the beginning.
            since = row.day("since") or self.files.made_on - timedelta(days=FIRST_LIST)
            need = part_actions.add_need(
                self.job(row), part=part, words=row.text("words"), quantity=row.amount("quantity"), on=since
            )
            guess = row.number_or_none("guess")
            if guess is not None:
                part_actions.guess_need(need, to_minor(guess, self.boat.currency))
            if row.yes("met"):
                part_actions.close_need(need)
        return f"{len(self.jobs)} jobs wanting {Need.objects.filter(boat=self.boat).count()} things"

    def finish_jobs(self) -> None:
        """Set how far each job is, on its day."""
        for row in self.files.rows("jobs.csv"):
            if row.given("state") != State.PLANNED:
                set_state(self.job(row), row.given("state"), today=row.day("done") or self.files.made_on)

    def happenings(self) -> Iterator[Happening]:
        """Yield what went in and out, place by place."""
        for row in self.files.rows("in_and_out.csv"):
            deed = getattr(self, "_" + row.given("deed").replace(" ", "_"), None)
            if deed is None:
                raise row.wrong(f"says {row.text('deed')!r}, which is no deed of the stores")
            # What came in the morning can be taken in the afternoon.
            yield Happening((row.whole("day") or 0, 2, row.number), partial(deed, row))

    # What a row of in_and_out.csv may say was done.

    def _put_in(self, row: Row) -> None:
        days = {**self._who_and_when(row), "expires_on": row.day("runs_out"), "serial": row.text("serial")}
        stow.put_in(self.part(row), self.place(row, "place"), row.amount("quantity", "0"), **days)

    def _take(self, row: Row) -> None:
        job = self.job(row) if row.text("job") else None
        stow.take(self.holding(row), row.amount("quantity"), job=job, **self._who_and_when(row))

    def _move(self, row: Row) -> None:
        item = (self.holding(row), row.number_or_none("quantity"))
        stow.move_things([item], self.place(row, "to"), **self._who_and_when(row))

    def _low(self, row: Row) -> None:
        stow.say_level(self.part(row), self.place(row, "place"), "low", **self._who_and_when(row))

    def _gone(self, row: Row) -> None:
        stow.say_level(self.part(row), self.place(row, "place"), "gone", **self._who_and_when(row))

    def _not_there(self, row: Row) -> None:
        stow.not_there(self.holding(row), **self._who_and_when(row))

    def _count(self, row: Row) -> None:
        """Count a whole place: what the row names was different, everything else was as written down."""
        place = self.place(row, "place")
        different = self.part(row) if row.text("part") else None
        found = [
            stow.Counted(
                h.part, row.amount("quantity") if h.part == different else h.quantity, h.level or None, h.lot
            )
            for h in Holding.objects.there().filter(place=place).select_related("part", "lot")
        ]
        stow.count(place, found, **self._who_and_when(row))

    def _who_and_when(self, row: Row) -> dict[str, Any]:
        return {
            "by": self.users[row.given("by")],
            "on": row.day("day") or self.files.made_on,
            "today": self.files.made_on,
        }

    # What the data calls things.

    def place(self, row: Row, column: str) -> Location:
        """Return the place that a cell names by its mark, or by its name where it has none."""
        try:
            return self.places[row.given(column)]
        except KeyError:
            raise row.wrong(f"names no place that is known: {row.text(column)!r}") from None

    def part(self, row: Row, column: str = "part") -> Part:
        """Return the part that a cell names."""
        try:
            return self.parts[row.given(column)]
        except KeyError:
            raise row.wrong(f"names no part that is known: {row.text(column)!r}") from None

    def job(self, row: Row, column: str = "job") -> Job:
        """Return the job that a cell numbers."""
        try:
            return self.jobs[row.whole(column) or 0]
        except KeyError:
            raise row.wrong(f"names no job that is known: {row.text(column)!r}") from None

    def holding(self, row: Row) -> Holding:
        """Return what is held of the part in the place that a row names: what runs out first, goes first."""
        held = Holding.objects.there().filter(part=self.part(row), place=self.place(row, "place"))
        found = held.select_related("part", "lot", "place", "boat").order_by("lot__expires_on", "id").first()
        if found is None:
            raise row.wrong(f"takes {row.text('part')} from {row.text('place')}, where there is none")
        return found
