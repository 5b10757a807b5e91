"""What is typed when an order is asked after: the day they say, who said it, when to ask again; last days."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.buying.actions.chasing import OrderDates
from refit.pages.fields import BoatForm, DayField, TextField


class PromiseForm(BoatForm):
    """The day that was promised, or that they don't know; who said so, when; when to ask again."""

    day = DayField(label="They say it comes on", required=False)
    unknown = forms.BooleanField(label="They don’t know", required=False)
    who = TextField(label="Who said so", max_length=80, required=False)
    said_on = DayField(label="Said on")
    chase_on = DayField(label="Ask again on", required=False)
    note = TextField(label="Note", max_length=200, required=False)

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        day, unknown = data.get("day"), data.get("unknown")
        if "day" not in self.errors and day is None and not unknown:
            self.add_error("day", ValidationError("Which day? Or tick “They don’t know”.", code="nothing"))
        if day is not None and unknown:
            self.add_error(
                "unknown", ValidationError("Give a day or tick “They don’t know”, not both.", code="both")
            )
        return data


class DatesForm(BoatForm):
    """When to ask after an order; until when goods may go back and damage be claimed."""

    chase_on = DayField(label="Ask after it on", required=False)
    return_by = DayField(label="May go back until", required=False)
    claim_by = DayField(label="Claim damage until", required=False)

    def facts(self) -> OrderDates:
        """Return what was typed, ready for the action."""
        return OrderDates(**{name: self.cleaned_data[name] for name in OrderDates.__dataclass_fields__})
