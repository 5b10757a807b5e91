"""What is typed about what jobs want: a need with its day and what it must fit, how much to keep, lists, companions."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from refit.boat.models import Boat
from refit.pages.fields import BoatForm, DayField, QuantityField, TextField
from refit.pages.forms.jobs import NeedForm
from refit.stores.models import KitList, Need
from refit.work.models import Job


class WantForm(NeedForm):
    """What a job wants, with the day it is wanted by, whether in one piece, and what it must fit."""

    wanted_by = DayField(label="Wanted by", required=False, help_text="Empty: when the job starts.")
    one_piece = forms.BooleanField(
        label="In one piece",
        required=False,
        help_text="Of what is kept in pieces: one piece that is long enough.",
    )
    must_fit = TextField(
        label="Must fit", max_length=120, required=False, help_text="Size, thread, what it goes on."
    )

    def __init__(self, boat: Boat, *args: Any, need: Need | None = None, **kwargs: Any) -> None:
        if need is not None:
            kwargs["initial"] = typed_of(need)
        super().__init__(boat, *args, **kwargs)

    @property
    def more(self) -> bool:
        """Return whether anything was said beyond what and how many, or is wrong there."""
        names = ("wanted_by", "one_piece", "must_fit")
        return any(self[name].errors or self[name].value() for name in names)

    def facts(self) -> dict[str, Any]:
        """Return what was said beyond part, words and quantity."""
        return {name: self.cleaned_data[name] for name in ("wanted_by", "one_piece", "must_fit")}


def typed_of(need: Need) -> dict[str, Any]:
    """Return a need as it would be typed: what the form begins with, and what an undo sends."""
    typed: dict[str, Any] = {
        "words": str(need),
        "part": need.part_id or "",
        "quantity": need.quantity,
        "wanted_by": need.wanted_by or "",
        "must_fit": need.must_fit,
    }
    if not need.part_id:
        typed["as_words"] = "1"
    if need.one_piece:
        typed["one_piece"] = "on"
    return typed


class KeepForm(BoatForm):
    """How much to keep for a job; nil lets it go."""

    quantity = QuantityField(low=0, label="Keep")


class CopyForm(BoatForm):
    """The job that needs are copied from, by its number."""

    job = forms.CharField(
        label="From job", max_length=10, widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )

    def __init__(self, boat: Boat, jobs: "QuerySet[Job]", *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.jobs = jobs

    def clean_job(self) -> Job:
        return job_numbered(self.jobs, self.cleaned_data["job"])


def job_numbered(jobs: "QuerySet[Job]", number: str) -> Job:
    """Return the job of this number, or say that there is none."""
    number = number.strip()
    found = None
    if number.isascii() and number.isdigit() and int(number) < 2**31:
        found = jobs.filter(number=int(number)).first()
    if found is None:
        raise ValidationError(f"There is no job {number[:10]}.", code="no_job")
    return found


class ListForm(BoatForm):
    """A list that is kept, chosen for a job."""

    kit = forms.ModelChoiceField(
        label="Kit list", queryset=KitList.objects.none(), empty_label="choose a list"
    )

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.fields["kit"].queryset = KitList.objects.filter(boat=boat)  # type: ignore[attr-defined]
        self.fields["kit"].error_messages["invalid_choice"] = "Choose a list of this boat."


class NameForm(BoatForm):
    """The name of a list."""

    name = TextField(label="Name of the list", max_length=80, help_text="Engine service, yearly")


class ThingForm(NeedForm):
    """A part or words, and how many: a line of a list, or what is in a kit."""


class CompanionForm(NeedForm):
    """What goes with a part: another part or a few words, how many for each of it, or a tool."""

    words = TextField(label="Part, number, or in words", max_length=120, required=False)
    quantity = QuantityField(label="How many for each", initial=Decimal(1))
    is_tool = forms.BooleanField(label="A tool: comes back, is not used up", required=False)
