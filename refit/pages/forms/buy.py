"""What is sent from the buy list and on the town run."""

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, System
from refit.buying.actions.shopping import Tick
from refit.buying.actions.town import Bought
from refit.buying.models import Line, Supplier
from refit.pages.fields import BoatForm, MoneyField, QuantityField

ROW = re.compile(r"[pn][0-9]{1,18}")
CHOICE = re.compile(r"[os][0-9]{1,18}")
ITEM = re.compile(r"([pnl])([0-9]{1,18})")


class MakeForm(BoatForm):
    """The ticked rows, whom each is bought from, and whom to ask for what has no supplier."""

    supplier = forms.ModelChoiceField(
        queryset=Supplier.objects.none(),
        label="What has no supplier goes to",
        required=False,
        empty_label="Choose",
    )

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        supplier: Any = self.fields["supplier"]
        supplier.queryset = Supplier.objects.filter(boat=boat)

    def ticks(self, sent: Any) -> list[Tick]:
        """Return what was ticked; what no page of ours sends is refused by the action as not there."""
        rows = list(dict.fromkeys(sent.getlist("row")))
        found = []
        for key in rows:
            choice = sent.get(f"from-{key}", "") if ROW.fullmatch(key) else ""
            if not ROW.fullmatch(key) or (choice and not CHOICE.fullmatch(choice)):
                raise ValidationError("That was not sent by this page. Tick again.", code="malformed")
            found.append(Tick(key, choice, self.cleaned_data["supplier"]))
        return found


class TownForm(BoatForm):
    """One thing on the town run: which, in which shop, how many, for how much, for which system."""

    item = forms.CharField(widget=forms.HiddenInput, max_length=20)
    shop = forms.ModelChoiceField(
        queryset=Supplier.objects.none(), label="In which shop", empty_label="Choose"
    )
    quantity = QuantityField(label="How many", required=False)
    price = MoneyField(label="Price each", required=False)
    system = forms.ModelChoiceField(
        queryset=System.objects.none(), label="For which system", required=False, empty_label="Choose"
    )

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        shop: Any = self.fields["shop"]
        shop.queryset = Supplier.objects.filter(boat=boat)
        system: Any = self.fields["system"]
        system.queryset = System.objects.filter(boat=boat, retired_at=None)

    def clean_item(self) -> tuple[str, Line | None]:
        """Return the row of the buy list (its key) or the line of the shop's list."""
        found = ITEM.fullmatch(self.cleaned_data["item"])
        if found is None:
            raise ValidationError("That was not sent by this page.", code="malformed")
        if found[1] != "l":
            return found[0], None
        line = Line.objects.filter(boat=self.boat, pk=int(found[2])).first() if len(found[2]) < 19 else None
        if line is None:
            raise ValidationError("That is on no list any more.", code="gone")
        return "", line

    def bought(self) -> Bought:
        """Return how many, for how much, for which system."""
        data = self.cleaned_data
        return Bought(data["quantity"], data["price"], data["system"])
