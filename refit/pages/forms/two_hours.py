"""What the day is like and how long one has, read from the address; what cannot be right is passed over."""

from decimal import Decimal
from typing import Any

from django import forms

from refit.buying.doable import Ticks
from refit.pages.fields import NumberField

HOURS = Decimal(2)


class TicksForm(forms.Form):
    """Ticks of the page "I have two hours"."""

    hours = NumberField(
        label="Hours you have", required=False, places=2, low=Decimal("0.25"), high=Decimal(24)
    )
    celsius = NumberField(
        label="It is at least, °C", required=False, places=0, low=Decimal(-30), high=Decimal(60)
    )
    dry = forms.BooleanField(label="It is dry", required=False)
    quiet = forms.BooleanField(label="Quiet work only", required=False)
    no_dust = forms.BooleanField(label="No dust", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial = {"hours": "2"}

    @property
    def ticks(self) -> Ticks:
        """Return what is ticked: two hours where nothing was sent; all day where the box was emptied."""
        if not self.is_bound:
            return Ticks(hours=HOURS)
        self.is_valid()
        given = self.cleaned_data
        celsius = given.get("celsius")
        hours = given.get("hours")
        return Ticks(
            hours=HOURS if hours is None and "hours" in self.errors else hours,
            dry=bool(given.get("dry")),
            celsius=None if celsius is None else int(celsius),
            quiet=bool(given.get("quiet")),
            no_dust=bool(given.get("no_dust")),
        )
