"""What is typed when old gear is sold, given away or bartered."""

from typing import Any

from django import forms

from refit.boat.models import Boat, System
from refit.buying.models import DisposalKind
from refit.calc.money import minor_digits, to_minor
from refit.pages.fields import BoatForm, DayField, MoneyField, TextField
from refit.stores.models import Part


class DisposalForm(BoatForm):
    """What left the boat, how, of which system, to whom, when and for how much."""

    kind = forms.ChoiceField(label="What became of it", choices=DisposalKind, widget=forms.RadioSelect)
    what = TextField(label="What", max_length=120)
    part = forms.ModelChoiceField(
        queryset=Part.objects.none(),
        label="Part",
        required=False,
        empty_label="None on the list",
        help_text="Only if it is on the list of parts. Take it from its locker as well.",
    )
    system = forms.ModelChoiceField(
        queryset=System.objects.none(), label="Of which system", empty_label="Choose"
    )
    happened_on = DayField(label="On")
    amount = MoneyField(
        label="For how much", required=False, help_text="Bartered: what the other thing is worth."
    )
    buyer = TextField(label="To whom", max_length=80, required=False)
    note = TextField(label="Note", max_length=300, required=False)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        system: Any = self.fields["system"]
        system.queryset = System.objects.filter(boat=boat, retired_at=None).order_by("group", "name")
        part: Any = self.fields["part"]
        part.queryset = Part.objects.filter(boat=boat).order_by("name", "id")
        amount: Any = self.fields["amount"]
        amount.label, amount.places = f"For how much, {boat.currency}", minor_digits(boat.currency)

    def facts(self) -> dict[str, Any]:
        """Return what was typed, ready for the action."""
        data = self.cleaned_data
        return {
            "kind": data["kind"],
            "what": data["what"],
            "part": data["part"],
            "system": data["system"],
            "on": data["happened_on"],
            "amount": to_minor(data["amount"], self.boat.currency) if data["amount"] else 0,
            "buyer": data["buyer"],
            "note": data["note"],
        }
