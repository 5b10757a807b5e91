"""What is typed about things as they are: a cut, a kit opened or incomplete, a condition, what was taken off, a bag."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from refit.boat.models import Boat
from refit.pages.fields import BoatForm, DayField, PlaceField, QuantityField, TextField
from refit.pages.forms.jobs import NeedForm
from refit.pages.forms.needs import job_numbered
from refit.pages.forms.papers import FilesField, FilesInput
from refit.stores.actions.off import CONDITIONS
from refit.stores.models import Condition
from refit.work.models import Job, State

JUST_USED = "used"
KEEP = "keep"
MOST_JOBS = 60
PHOTOS = "image/*,.heic,.heif"


class AgreedForm(BoatForm):
    """A deed that takes things: when it happened, and whether what is kept for a job is taken all the same."""

    agreed = forms.BooleanField(label="Take all the same", required=False)
    on = DayField(label="It happened on", required=False)


class CutForm(AgreedForm):
    """How much is cut off, and what becomes of it: used, for a job or not, or kept as a piece in a place."""

    quantity = QuantityField(label="Cut off")
    then = forms.CharField(required=False, max_length=12)
    to = PlaceField(label="Put the piece into", required=False)

    def __init__(self, boat: Boat, jobs: "QuerySet[Job]", *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.jobs = jobs
        newest = jobs.open().order_by("-number")[:MOST_JOBS]  # type: ignore[attr-defined]
        self.open_jobs = sorted(newest, key=lambda job: job.state != State.IN_HAND)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        then = data.get("then") or JUST_USED
        data["job"] = None
        if then == KEEP and data.get("to") is None and "to" not in self.errors:
            self.add_error("to", ValidationError("Say where the piece goes.", code="required"))
        elif then not in (KEEP, JUST_USED):
            try:
                data["job"] = job_numbered(self.jobs, then)
            except ValidationError as refused:
                self.add_error(None, refused)
        return data


class OpenForm(AgreedForm):
    """Where the contents of a kit go."""

    to = PlaceField(label="What is in it goes into", error_messages={"required": "Say where it goes."})


class IncompleteForm(BoatForm):
    """What a kit lacks."""

    missing = TextField(label="What is missing", max_length=200)
    on = DayField(label="It happened on", required=False)


class ConditionForm(BoatForm):
    """What state a numbered thing is in."""

    condition = forms.ChoiceField(
        label="It is",
        choices=[choice for choice in Condition.choices if choice[0]],
        error_messages={"invalid_choice": "Choose good, to overhaul, scrap or incomplete."},
    )
    note = TextField(label="Note", max_length=200, required=False)


class PhotosField(FilesField):
    """Photos, none or several, in the order in which they come."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", FilesInput(attrs={"accept": PHOTOS, "multiple": True}))
        super().__init__(required=False, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        files = [file for file in (data if isinstance(data, (list, tuple)) else [data]) if file]
        return super().clean(files, initial) if files else []


class OffForm(NeedForm):
    """What was taken off the boat: a known part or words, how it is, where it goes."""

    words = TextField(label="What was taken off", max_length=120, required=False)
    condition = forms.ChoiceField(
        label="It is",
        choices=[(choice.value, choice.label) for choice in CONDITIONS],
        widget=forms.RadioSelect,
        error_messages={"required": "Say what state it is in: good, to overhaul or scrap."},
    )
    to = PlaceField(label="It goes into", error_messages={"required": "Say where it goes."})
    serial = TextField(label="Serial number", max_length=60, required=False)
    note = TextField(label="Note", max_length=200, required=False)
    photos = PhotosField(label="Photos")
    on = DayField(label="It happened on", required=False)


class BagForm(BoatForm):
    """A bag for what was taken apart: what, photos in order, how, where it goes, and the label that is on it."""

    job = forms.CharField(label="Job", max_length=10, error_messages={"required": "Choose the job."})
    what = TextField(label="What was taken apart", max_length=120)
    photos = PhotosField(label="Photos, in order")
    note = TextField(label="How it came apart", max_length=2000, lines=True, required=False)
    to = PlaceField(label="The bag goes into", error_messages={"required": "Say where the bag goes."})
    label = TextField(
        label="Label on the bag",
        max_length=200,
        required=False,
        help_text="Four characters, or scan it. Without one a new code is made, to be printed.",
    )

    def __init__(self, boat: Boat, jobs: "QuerySet[Job]", *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.jobs = jobs

    def clean_job(self) -> Job:
        return job_numbered(self.jobs, self.cleaned_data["job"])


class ChangeBagForm(BoatForm):
    """What is said of a bag."""

    what = TextField(label="What was taken apart", max_length=120)
    note = TextField(label="How it came apart", max_length=2000, lines=True, required=False)


class MorePhotosForm(BoatForm):
    """Photos that come after those that are there."""

    photos = PhotosField(label="More photos")
