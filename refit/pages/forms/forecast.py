"""What is typed about the forecast: what is kept back, since when it moved, estimates of a job, guesses at a price."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat
from refit.calc.money import minor_digits, to_minor
from refit.pages.fields import BoatForm, DayField, MoneyField, TextField


class AmountForm(BoatForm):
    """A form with an amount in the boat's currency."""

    amount = MoneyField(label="May cost")

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        field = self.fields["amount"]
        field.label = f"{field.label}, {boat.currency}"
        field.places = minor_digits(boat.currency)  # type: ignore[attr-defined]

    def clean_amount(self) -> int | None:
        amount = self.cleaned_data["amount"]
        if amount is None:
            return None
        minor = to_minor(amount, self.boat.currency)
        if minor >= 10**12:
            raise ValidationError("That is too much to be right.", code="too_large")
        return minor


class ContingencyForm(AmountForm):
    """What is kept back for what nobody foresaw, from a day on."""

    amount = MoneyField(label="Kept back")
    on = DayField(label="From")
    note = TextField(label="Why", max_length=200, required=False)


class EstimateForm(AmountForm):
    """What a service of a job may cost."""

    words = TextField(label="What for", max_length=120)
    on = DayField(label="As of")
    field_order = ("words", "amount", "on")


class NewAmountForm(AmountForm):
    """What an estimate stands at now."""

    on = DayField(label="As of")


class GuessForm(AmountForm):
    """What all of a thing wanted may cost, until a price is known; empty: nobody knows."""

    amount = MoneyField(label="All of it may cost", required=False)


class SinceForm(forms.Form):
    """The day since which the forecast moved, that day included."""

    since = DayField(label="Since")

    def __init__(self, today: date, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean_since(self) -> date:
        since: date = self.cleaned_data["since"]
        if since > self.today:
            raise ValidationError(f"{since:%-d %b %Y} has not come yet.", code="future")
        if since.year < 1970:
            raise ValidationError("That is before any of this; choose a later day.", code="too_early")
        return since

    @staticmethod
    def usual(today: date) -> date:
        """Return the day that is asked for first: a month of four weeks ago."""
        return today - timedelta(days=28)
