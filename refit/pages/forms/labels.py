"""What is chosen about label sheets: which labels, on what stock, from which place on."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, Label, Location
from refit.carry import labels
from refit.pages.fields import BoatForm, NumberField
from refit.reports.labels import LARGEST_NUDGE_MM, LabelRow
from refit.reports.sheets import STOCKS

WHICH = (
    ("all", "All lockers, boxes and bags"),
    ("new", "Those never printed"),
    ("area", "One area"),
    ("ticked", "Those ticked below"),
    ("blank", "Blank labels not printed yet"),
)
RUN_LIMIT = 2**62


class SheetForm(forms.Form):
    """The choice of a sheet; it lives in the address, since looking at a sheet writes nothing."""

    which = forms.ChoiceField(label="Which labels?", choices=WHICH, widget=forms.RadioSelect)
    area = forms.ChoiceField(label="The area, for one area", required=False)
    place = forms.MultipleChoiceField(label="Places", required=False)
    run = forms.RegexField(r"^[0-9]{1,18}-[0-9]{1,18}$", required=False, widget=forms.HiddenInput)
    stock = forms.ChoiceField(
        label="Label stock", choices=[(key, stock.name) for key, stock in STOCKS.items()]
    )
    first = NumberField(label="First free label", places=0, low=1, high=200)
    nudge_x = NumberField(
        label="Move right, mm", places=1, low=-int(LARGEST_NUDGE_MM), high=int(LARGEST_NUDGE_MM)
    )
    nudge_y = NumberField(
        label="Move down, mm", places=1, low=-int(LARGEST_NUDGE_MM), high=int(LARGEST_NUDGE_MM)
    )

    def __init__(self, boat: Boat, sent: Any) -> None:
        self.boat = boat
        self.places = list(labels.labelled(boat))
        self.fresh = set(labels.never_printed(boat).values_list("pk", flat=True))
        data = sent.copy()
        for key, value in {
            "which": "new" if self.fresh else "all",
            "stock": "a4-21",
            "first": "1",
            "nudge_x": "0",
            "nudge_y": "0",
        }.items():
            if not data.get(key):
                data[key] = value
        super().__init__(data)
        areas = {place.area_id: str(place.area) for place in self.places}
        self.fields["area"].choices = [("", "Choose"), *((str(pk), name) for pk, name in areas.items())]  # type: ignore[attr-defined]
        self.fields["place"].choices = [(place.code, str(place)) for place in self.places]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if data.get("which") == "area" and not data.get("area") and "area" not in self.errors:
            self.add_error("area", ValidationError("Choose the area.", code="area"))
        if data.get("which") == "ticked" and not data.get("place") and "place" not in self.errors:
            self.add_error("place", ValidationError("Tick the places.", code="place"))
        return data

    def chosen_places(self) -> list[Location]:
        """Return the places whose labels were chosen; none if blank labels were."""
        data = self.cleaned_data
        ticked = set(data["place"])
        keep = {
            "all": lambda place: True,
            "new": lambda place: place.pk in self.fresh,
            "area": lambda place: str(place.area_id) == data["area"],
            "ticked": lambda place: place.code in ticked,
            "blank": lambda place: False,
        }[data["which"]]
        return [place for place in self.places if keep(place)]

    def chosen_blanks(self) -> list[Label]:
        """Return the blank labels that were chosen: one run, printed before or not, or all not printed yet."""
        data = self.cleaned_data
        if data["which"] != "blank":
            return []
        if not data["run"]:
            return list(labels.blank_labels(self.boat))
        first, last = (min(int(number), RUN_LIMIT) for number in data["run"].split("-"))
        found = Label.objects.filter(boat=self.boat, pk__gte=first, pk__lte=last)
        return list(found.select_related("location__area").order_by("id"))

    def rows(self) -> list[LabelRow]:
        """Return the labels to print, in the order in which they stand on the sheet."""
        return labels.rows_of_places(self.chosen_places()) + labels.rows_of_labels(self.chosen_blanks())

    def labels(self) -> list[Label]:
        """Return the minted labels that stand on the sheet, to be marked as printed."""
        codes = [place.code for place in self.chosen_places()]
        return [*Label.objects.filter(boat=self.boat, code__in=codes), *self.chosen_blanks()]


class MintForm(BoatForm):
    """How many blank labels to make."""

    how_many = NumberField(label="How many", places=0, low=1, high=2000)
