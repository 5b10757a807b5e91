"""What is typed about doing jobs: what was found, how a job was done, what was fitted, hours of a day."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, Location, System
from refit.pages.fields import (
    BoatForm,
    DayField,
    HoursField,
    JobField,
    NumberField,
    PlaceField,
    QuantityField,
    TextField,
)
from refit.pages.forms.papers import ACCEPTED, FilesField
from refit.stores.models import Lot, Part
from refit.voyage.actions import Fitted, Left
from refit.work.actions.doing import Done, Worked
from refit.work.models import DoneBy, Finish, Job

DONE_NAMES = ("done_by", "name", "certificate", "method", "materials", "test_result", "instrument")


def _photos(label: str) -> FilesField:
    field = FilesField(label=label, required=False)
    field.widget.attrs["accept"] = ACCEPTED
    return field


class FoundForm(BoatForm):
    """Something found while doing a job: what, and photos of it."""

    title = TextField(label="What was found", max_length=120)
    photos = _photos("Photos")


class FinishForm(BoatForm):
    """How a job was done."""

    done_on = DayField(label="Done on")
    done_by = forms.ChoiceField(label="Done by", choices=DoneBy.choices, widget=forms.RadioSelect)
    name = TextField(label="Person or firm", max_length=80, required=False)
    certificate = TextField(
        label="Certificate", max_length=120, required=False, help_text="Its number, if the work has one."
    )
    method = TextField(label="How it was done", max_length=2000, lines=True, required=False)
    materials = TextField(label="With what materials", max_length=400, required=False)
    test_result = TextField(
        label="Test and its result",
        max_length=200,
        required=False,
        help_text="Such as 0.3 Ω, tight at 2 bar.",
    )
    instrument = TextField(label="Instrument", max_length=120, required=False)
    before = _photos("Photos before")
    after = _photos("Photos after")

    def done(self) -> Done:
        """Return how it was done as the action takes it."""
        return Done(**{name: self.cleaned_data[name] for name in DONE_NAMES})


def finish_facts(finish: Finish) -> dict[str, str]:
    """Return how a job was done as it is typed."""
    return {name: getattr(finish, name) for name in DONE_NAMES}


class FittedForm(forms.Form):
    """Something that is fitted on the boat now."""

    fitted = forms.BooleanField(label="Fitted: keep it as gear", required=False)
    name = TextField(label="What it is", max_length=120, required=False)
    pieces = NumberField(label="How many", places=0, low=1, high=1000, required=False)
    maker = TextField(label="Maker", max_length=80, required=False)
    model = TextField(label="Model", max_length=80, required=False)
    serial = TextField(label="Serial number", max_length=60, required=False)
    place = PlaceField(label="Place", required=False)
    where = TextField(label="Where exactly", max_length=80, required=False)
    warranty_until = DayField(label="Warranty until", required=False)

    def __init__(self, places: list[Location], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places = places
        for field in self.fields.values():
            if isinstance(field, PlaceField):
                field.places = places

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if self.is_fitted and not given.get("name") and "name" not in self.errors:
            self.add_error("name", ValidationError("What was fitted? Give it a name.", code="empty"))
        return given

    @property
    def is_fitted(self) -> bool:
        """Return whether it becomes gear."""
        return bool(self.cleaned_data.get("fitted"))

    def as_fitted(self, system: System, on: date, part: Part | None = None) -> Fitted:
        """Return the thing as the action takes it."""
        given = self.cleaned_data
        names = ("name", "maker", "model", "serial", "place", "where", "warranty_until")
        facts = {name: given[name] for name in names}
        return Fitted(system=system, part=part, quantity=int(given["pieces"] or 1), fitted_on=on, **facts)


class MoreFittedForm(FittedForm):
    """Something fitted that did not come out of stores: it is meant as soon as it has a name."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["fitted"]

    @property
    def is_fitted(self) -> bool:
        return bool(self.cleaned_data.get("name"))


class TakenForm(FittedForm):
    """What became of something that was taken for a job: fitted, and how much of it goes back where."""

    left = QuantityField(label="Left over", low=0, required=False)
    to = PlaceField(label="Goes back to", required=False)

    def __init__(self, most: Decimal, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        left: Any = self.fields["left"]
        left.high = most

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        if given.get("left") and not given.get("to") and "to" not in self.errors:
            self.add_error("to", ValidationError("Where does it go back to?", code="required"))
        return given

    def as_left(self, part: Part, lot: Lot | None) -> Left | None:
        """Return what goes back as the action takes it; None where nothing does."""
        given = self.cleaned_data
        return Left(part, given["left"], given["to"], lot) if given["left"] else None


class GearForm(BoatForm):
    """A fitted thing as it stands on the list of gear."""

    name = TextField(label="What it is", max_length=120)
    system = forms.ModelChoiceField(queryset=System.objects.none(), empty_label="choose a system")
    pieces = NumberField(label="How many", places=0, low=1, high=1000, required=False)
    maker = TextField(label="Maker", max_length=80, required=False)
    model = TextField(label="Model", max_length=80, required=False)
    serial = TextField(label="Serial number", max_length=60, required=False)
    place = PlaceField(label="Place", required=False)
    where = TextField(label="Where exactly", max_length=80, required=False)
    fitted_on = DayField(label="Fitted on", required=False)
    warranty_until = DayField(label="Warranty until", required=False)
    note = TextField(label="Note", max_length=300, required=False)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        system: Any = self.fields["system"]
        system.queryset = System.objects.filter(boat=boat).order_by("name")
        system.error_messages["invalid_choice"] = "This boat has no such system; choose one from the list."

    def as_fitted(self, part: Part | None) -> Fitted:
        """Return the thing as the action takes it."""
        facts = {
            name: value for name, value in self.cleaned_data.items() if name not in ("form_key", "pieces")
        }
        return Fitted(part=part, quantity=int(self.cleaned_data["pieces"] or 1), **facts)


@dataclass(frozen=True)
class Person:
    """Somebody whose hours are written down: a user, or a helper by name; `key` names their boxes."""

    key: str
    name: str
    user: Any = None


class HoursForm(BoatForm):
    """Hours of a day: a box for each person on each of these jobs, and for one more job."""

    another = JobField(label="Another job", required=False)

    def __init__(self, boat: Boat, jobs: list[Job], people: list[Person], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.shown, self.people = jobs, people
        for job in [*jobs, None]:
            for person in people:
                self.fields[box(job, person)] = HoursField(label=person.name)

    def rows(self) -> list[tuple[Job, list[Any]]]:
        """Return each job with its boxes."""
        return [(job, [self[box(job, person)] for person in self.people]) for job in self.shown]

    def another_boxes(self) -> list[Any]:
        """Return the boxes of the job that is added."""
        return [self[box(None, person)] for person in self.people]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        job = given.get("another")
        added = any(given.get(box(None, person)) for person in self.people)
        if added and job is None and "another" not in self.errors:
            self.add_error("another", ValidationError("On which job?", code="required"))
        if job is not None and job in self.shown:
            self.add_error("another", ValidationError(f"Job {job.number} stands above.", code="twice"))
        return given

    def worked(self) -> list[Worked]:
        """Return what was typed as the action takes it; a box that was not sent stays as it is."""
        jobs: list[Job | None] = [*self.shown, None]
        found = []
        for job in jobs:
            meant = job or self.cleaned_data["another"]
            if meant is None:
                continue
            for person in self.people:
                name = box(job, person)
                if name in self.data and (job or self.cleaned_data[name]):
                    helper = "" if person.user else person.name
                    found.append(Worked(meant, self.cleaned_data[name], person.user, helper))
        return found


def box(job: Job | None, person: Person) -> str:
    """Return the name of the box for a person on a job; no job: the one that is added."""
    return f"{job.number if job else 'more'}-{person.key}"
