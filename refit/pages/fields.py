"""Form fields for what people type: one for words, one for numbers, one for days, one for places.

They parse; what may be done with the values is decided below.
"""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from refit.boat.formkeys import new_key
from refit.boat.models import Boat, Location
from refit.calc.codes import code_in
from refit.calc.numbers import format_quantity, parse_day, parse_number
from refit.calc.problems import Problem
from refit.calc.text import clean, clean_multiline, fold
from refit.calc.worktime import hours_and_minutes, parse_days, parse_minutes
from refit.work.models import Job


class TextField(forms.CharField):
    """Words on one line (or several): cleaned, never longer than `max_length`."""

    def __init__(self, *, max_length: int = 200, lines: bool = False, **kwargs: Any) -> None:
        if lines:
            kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 4}))
        super().__init__(strip=True, **kwargs)
        self.most = max_length
        self.lines = lines
        self.widget.attrs["maxlength"] = max_length
        # Django's own validators would speak first, in other words than ours.
        self.validators = []

    def to_python(self, value: Any) -> str:
        text = "" if value is None else str(value)
        try:
            text = clean_multiline(text) if self.lines else clean(text)
        except Problem as problem:
            raise ValidationError(str(problem), code=problem.code) from None
        if len(text) > self.most:
            raise ValidationError(
                f"At most {self.most:,} characters; this has {len(text):,}.", code="max_length"
            )
        return text


class NumberField(forms.Field):
    """A number as people type it (`1,5` or `1.5`); gives a `Decimal`, or None where it may be left out."""

    widget = forms.TextInput

    def __init__(
        self,
        *,
        places: int = 3,
        low: Decimal | int | None = None,
        high: Decimal | int | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.places = places
        self.low = None if low is None else Decimal(low)
        self.high = None if high is None else Decimal(high)
        self.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})

    def prepare_value(self, value: Any) -> Any:
        return format_quantity(value) if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:
        if value is None or str(value).strip() == "":
            return None
        try:
            return parse_number(str(value), places=self.places, low=self.low, high=self.high)
        except Problem as problem:
            raise ValidationError(str(problem), code=problem.code) from None


class QuantityField(NumberField):
    """How many: above nil and below a million, at most three places."""

    def __init__(self, *, low: Decimal | int = Decimal("0.001"), **kwargs: Any) -> None:
        super().__init__(places=3, low=low, high=Decimal("999999.999"), **kwargs)


class MoneyField(NumberField):
    """An amount of money in major units; the caller turns it into minor units of a currency."""

    def __init__(self, *, places: int = 4, low: Decimal | int | None = 0, **kwargs: Any) -> None:
        super().__init__(places=places, low=low, high=Decimal("9999999999"), **kwargs)


class DayField(forms.Field):
    """A day: the phone's own picker, or as people type it."""

    widget = forms.DateInput

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> date | None:
        if isinstance(value, date):
            return value
        if value is None or str(value).strip() == "":
            return None
        try:
            return parse_day(str(value), timezone.localdate())
        except Problem as problem:
            raise ValidationError(str(problem), code=problem.code) from None


class WorkDaysField(forms.Field):
    """Days of work: `3`, `0.5`, `2 h`; gives a `Decimal` of days, or None where it may be left out."""

    widget = forms.TextInput

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.widget.attrs.update({"autocomplete": "off", "maxlength": 20})

    def prepare_value(self, value: Any) -> Any:
        return format_quantity(value) if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:
        if value is None or str(value).strip() == "":
            return None
        try:
            return parse_days(str(value))
        except Problem as problem:
            raise ValidationError(str(problem), code=problem.code) from None


class HoursField(forms.Field):
    """Hours of one day: `2`, `1.5`, `1:30`, `90 min`; gives whole minutes, nil where it is left empty."""

    widget = forms.TextInput

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)
        self.widget.attrs.update({"inputmode": "text", "autocomplete": "off", "maxlength": 20})

    def prepare_value(self, value: Any) -> Any:
        return (hours_and_minutes(value) if value else "") if isinstance(value, int) else value

    def to_python(self, value: Any) -> int:
        if value is None or str(value).strip() == "":
            return 0
        try:
            return parse_minutes(str(value))
        except Problem as problem:
            raise ValidationError(str(problem), code=problem.code) from None


class JobField(forms.CharField):
    """A job, by its number or as it is offered: `12`, `12 Renew the impeller`; gives a `Job` or None.

    The form sets `jobs` to the jobs that may be named.
    """

    jobs: Any = None

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(strip=True, **kwargs)
        self.widget.attrs.update(
            {"autocomplete": "off", "spellcheck": "false", "list": "jobs", "maxlength": 140}
        )

    def prepare_value(self, value: Any) -> Any:
        return f"{value.number} {value.title}" if isinstance(value, Job) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        word = str(text).casefold().removeprefix("job").split()[:1]
        number = word[0].rstrip(",.:") if word else ""
        good = number.isascii() and number.isdigit() and len(number) < 10
        found = self.jobs.filter(number=int(number)).first() if good else self._called(str(text))
        if found is None:
            raise ValidationError(
                f"No job “{str(text)[:40]}”. Type its number, or choose one that is offered.", code="no_job"
            )
        return found

    def _called(self, text: str) -> Any:
        """Return the one job of this title; where several have it, the number has to be typed."""
        hits = list(self.jobs.filter(folded__contains=fold(text))[:2]) if fold(text) else []
        return hits[0] if len(hits) == 1 else None


class PlaceField(forms.CharField):
    """A place, by its mark, its code, its name, or the address that its label carries.

    The form sets `places` to the places that may be chosen (`Location` rows); gives a `Location` or None.
    """

    places: Any = None

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(strip=True, **kwargs)
        self.widget.attrs.update(
            {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false", "list": "places"}
        )

    def prepare_value(self, value: Any) -> Any:
        return str(value) if isinstance(value, Location) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        found = find_place(list(self.places or []), str(text))
        if found is None:
            raise ValidationError(
                f"No place “{str(text)[:40]}”. Type its mark or name, or scan its label.", code="no_place"
            )
        return found


def find_place(places: list[Location], text: str) -> Location | None:
    """Return the place that a person means: by mark and name, mark, code, or name."""
    wanted = fold(text)
    for attribute in ("folded", "mark_folded"):
        hits = [place for place in places if getattr(place, attribute) == wanted]
        if len(hits) == 1:
            return hits[0]
    code = code_in(text)
    hits = [place for place in places if code and place.code == code]
    if len(hits) == 1:
        return hits[0]
    hits = [place for place in places if fold(place.name) == wanted]
    return hits[0] if len(hits) == 1 else None


class BoatForm(forms.Form):
    """A form of a boat: it carries a key so that it acts once, and knows which places may be chosen."""

    form_key = forms.CharField(widget=forms.HiddenInput, required=False, max_length=40)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.boat = boat
        self.fields["form_key"].initial = new_key()
        fields = [field for field in self.fields.values() if isinstance(field, PlaceField)]
        if fields:
            stowable = list(Location.objects.stowable().filter(boat=boat).select_related("area").by_mark())
            self.place_options = stowable
            for field in fields:
                field.places = stowable
        for named in self.fields.values():
            if isinstance(named, JobField):
                named.jobs = Job.objects.filter(boat=boat)
