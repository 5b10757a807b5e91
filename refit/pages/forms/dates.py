"""What is typed about dates: what a job comes after, who is booked, milestones, working days, days away."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat
from refit.calc.holidays_of import HolidayProblem, countries, parts_of
from refit.calc.money import minor_digits, to_minor
from refit.pages.fields import BoatForm, DayField, JobField, MoneyField, NumberField, TextField
from refit.work.actions.dates import Coming
from refit.work.models import MilestoneKind, WorkTerms

AFTER, BEFORE = "after", "before"
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class AfterForm(BoatForm):
    """What a job comes after, or what comes after it."""

    way = forms.ChoiceField(
        label="This job",
        choices=[(AFTER, "comes after"), (BEFORE, "comes before")],
        required=False,
        initial=AFTER,
    )
    job = JobField(label="Which job")


class BookingForm(BoatForm):
    """Who comes for a job, when and for how long."""

    who = TextField(label="Who comes", max_length=80, help_text="A name, a trade, the hoist.")
    day = DayField(label="From")
    days = NumberField(label="For so many days", places=0, low=1, high=365, required=False)
    note = TextField(label="Note", max_length=200, required=False)
    both = forms.BooleanField(label="They come for both", required=False)

    def coming(self) -> Coming:
        """Return the booking as the actions take it."""
        given = self.cleaned_data
        return Coming(given["day"], given["who"], int(given["days"] or 1), given["note"])

    @property
    def asks_both(self) -> bool:
        """Return whether the person has to say that they come for two jobs."""
        return bool(self.errors.get("both")) or bool(self.is_bound and self["both"].value())


class MilestoneForm(BoatForm):
    """A day that the refit works towards, and the job that reaches it."""

    kind = forms.ChoiceField(label="What", choices=MilestoneKind.choices, required=False)
    name = TextField(label="Called", max_length=60, required=False)
    target = DayField(label="Should be reached on", required=False)
    job = JobField(label="Job that reaches it", required=False)

    def __init__(
        self,
        boat: Boat,
        *args: Any,
        there: frozenset[str] = frozenset(),
        new: bool = True,
        **kwargs: Any,
    ) -> None:
        super().__init__(boat, *args, **kwargs)
        kind: Any = self.fields["kind"]
        kind.choices = [
            (value, label)
            for value, label in MilestoneKind.choices
            if value == MilestoneKind.OTHER or value not in there
        ]
        kind.required = new
        kind.error_messages["invalid_choice"] = "That is there already; change its day instead."


class ReachedForm(BoatForm):
    """The day on which a milestone was reached."""

    on = DayField(label="Reached on")


class TermsForm(BoatForm):
    """How the boat works: its weekdays, how early parts should be here, whose holidays, what an own hour is worth."""

    weekdays = forms.MultipleChoiceField(
        label="Days on which you work",
        choices=[(str(at), name) for at, name in enumerate(WEEKDAYS)],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "No day of the week is worked; tick at least one."},
    )
    margin_days = NumberField(
        label="Parts should be here so many days early", places=0, low=0, high=365, required=False
    )
    country = forms.ChoiceField(label="Public holidays of", required=False)
    region = forms.ChoiceField(label="Part of the country", required=False)
    hour_rate = MoneyField(
        label="What an own hour is worth",
        required=False,
        help_text="Shown beside the money, never added to it.",
    )

    def __init__(self, boat: Boat, terms: WorkTerms, *args: Any, money: bool, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.initial["weekdays"] = [str(at) for at, works in enumerate(terms.weekdays) if works == "1"]
        for name in ("margin_days", "country", "region"):
            self.initial[name] = getattr(terms, name)
        self._offer_countries(terms)
        rate: Any = self.fields["hour_rate"]
        if not money:
            del self.fields["hour_rate"]
            return
        rate.label, rate.places = f"What an own hour is worth, {boat.currency}", minor_digits(boat.currency)

    def _offer_countries(self, terms: WorkTerms) -> None:
        country: Any = self.fields["country"]
        region: Any = self.fields["region"]
        country.choices = [("", "none"), *countries()]
        country.error_messages["invalid_choice"] = "No such country; choose one from the list, or none."
        chosen = str(self.data.get("country", "")) if self.is_bound else terms.country
        try:
            parts = parts_of(chosen) if chosen else []
        except HolidayProblem:
            parts = []
        region.choices = [("", "all of it"), *parts]
        region.error_messages["invalid_choice"] = (
            "No such part of that country; choose one from the list, or all of it."
        )
        self.has_regions = bool(parts)

    def clean_region(self) -> str:
        """Return the part of the country, if it is told apart by so few letters as are kept."""
        region = str(self.cleaned_data["region"])
        if len(region) > 10:
            raise ValidationError("That part cannot be kept; choose all of it.", code="max_length")
        return region

    def facts(self) -> dict[str, Any]:
        """Return the terms as the action takes them."""
        given = self.cleaned_data
        days = "".join("1" if str(at) in given["weekdays"] else "0" for at in range(7))
        facts = {
            "weekdays": days,
            "margin_days": int(given["margin_days"] or 0),
            "country": given["country"],
            "region": given["region"] if given["country"] else "",
        }
        if "hour_rate" in self.fields:
            rate = given["hour_rate"]
            facts["hour_rate"] = None if rate is None else to_minor(rate, self.boat.currency)
        return facts


class AwayForm(BoatForm):
    """Days on which nobody works on the boat."""

    first = DayField(label="Away from")
    last = DayField(label="To", required=False)
    why = TextField(label="Why", max_length=80, required=False)
