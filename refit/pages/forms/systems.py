"""What is typed about systems: which there are, in which group, and what each may cost."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, Group, System
from refit.boat.usual import USUAL_SYSTEMS
from refit.calc.money import minor_digits, to_minor
from refit.calc.text import fold
from refit.pages.fields import BoatForm, DayField, MoneyField, TextField

BESIDE = "Yard, tools and papers are not: they stand beside the boat's subtotal."


class SystemForm(BoatForm):
    """One system: its name, its group, whether it is part of the boat."""

    name = TextField(max_length=60)
    group = forms.ChoiceField(choices=Group.choices)
    of_the_boat = forms.BooleanField(label="Part of the boat", required=False, initial=True, help_text=BESIDE)

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        if not fold(name):
            raise ValidationError("A name has letters or figures.", code="empty")
        return name

    def row(self) -> tuple[str, str, bool]:
        """Return the system as the actions take it."""
        return self.cleaned_data["name"], self.cleaned_data["group"], self.cleaned_data["of_the_boat"]


class UsualForm(BoatForm):
    """The usual systems that the boat does not have yet, to be ticked."""

    usual = forms.MultipleChoiceField(
        label="Usual systems",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one."},
    )

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        there = set(System.objects.filter(boat=boat).values_list("folded", flat=True))
        self.rows = {str(place): row[:3] for place, row in enumerate(USUAL_SYSTEMS)}
        if (
            not self.is_bound
        ):  # the form sent twice names systems that are there by now: it acts once all the same
            self.rows = {place: row for place, row in self.rows.items() if fold(row[0]) not in there}
        field = self.fields["usual"]
        field.choices = [(place, row[0]) for place, row in self.rows.items()]  # type: ignore[attr-defined]
        if not there:  # a new boat: most of them are wanted
            self.initial["usual"] = [place for place in self.rows if USUAL_SYSTEMS[int(place)][3]]

    def chosen(self) -> list[tuple[str, str, bool]]:
        """Return the systems ticked, as the actions take them."""
        return [self.rows[place] for place in self.cleaned_data["usual"]]


class BudgetForm(BoatForm):
    """What a system may cost from a day on."""

    amount = MoneyField(label="May cost")
    on = DayField(label="From")
    note = TextField(label="Why", max_length=200, required=False)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.fields["amount"].label = f"May cost, {boat.currency}"
        self.fields["amount"].places = minor_digits(boat.currency)  # type: ignore[attr-defined]

    def clean_amount(self) -> int:
        minor = to_minor(self.cleaned_data["amount"], self.boat.currency)
        if minor >= 10**12:
            raise ValidationError("That is too much for one system.", code="too_large")
        return minor
