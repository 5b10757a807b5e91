"""What is typed about places: a new one, a quick list, a change, where one goes, which two swap labels."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, Hindrance, Kind, Location, Where
from refit.pages.fields import BoatForm, NumberField, PlaceField, TextField, find_place

KINDS = (
    (Kind.LOCKER, "Locker, drawer, shelf or bin"),
    (Kind.BOX, "Box"),
    (Kind.BAG, "Bag"),
    (Kind.AREA, "Area, such as the saloon or a store ashore"),
)


class PlaceFacts(BoatForm):
    """What a place is called, what is to be minded there, and (for an area) how far away it is."""

    mark = TextField(
        label="Mark",
        max_length=12,
        required=False,
        help_text="Short, as people say it: S3, P1, F2",
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"}),
    )
    name = TextField(label="Name", max_length=80, required=False)
    note = TextField(label="Note", max_length=300, required=False)
    from_bow = NumberField(
        label="From the bow",
        places=0,
        low=1,
        high=99,
        required=False,
        help_text="1 is the foremost area, 2 the next one aft. Fetch lists follow it.",
    )
    where = forms.ChoiceField(label="Where it is", choices=Where.choices, required=False)
    days_away = NumberField(
        label="Days to reach us", places=0, low=0, high=365, required=False, help_text="Only for a place away"
    )

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        for kind, words in Hindrance.choices:
            self.fields[f"care_{kind}"] = forms.BooleanField(
                label=words[0].upper() + words[1:], required=False
            )
            self.fields[f"words_{kind}"] = TextField(
                label=f"Where: {words.split(':')[0]}", max_length=200, required=False
            )

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if not self.errors and not data.get("mark") and not data.get("name"):
            self.add_error("name", ValidationError("Give it a mark or a name.", code="unnamed"))
        return data

    @property
    def cares(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Return each caution's tick and words, side by side."""
        return [(self[f"care_{kind}"], self[f"words_{kind}"]) for kind in Hindrance.values]

    @property
    def any_care(self) -> bool:
        """Return whether a caution is ticked, so that their fold stands open."""
        return any(tick.value() for tick, _ in self.cares)

    @property
    def cautions(self) -> list[tuple[str, str]]:
        """Return the cautions that were ticked; words typed beside one tick it too."""
        data = self.cleaned_data
        return [
            (kind, data[f"words_{kind}"])
            for kind in Hindrance.values
            if data[f"care_{kind}"] or data[f"words_{kind}"]
        ]

    @property
    def whereabouts(self) -> dict[str, Any]:
        """Return where an area is; only what is away has days."""
        where = self.cleaned_data.get("where") or Where.ABOARD
        days = int(self.cleaned_data.get("days_away") or 0) if where == Where.AWAY else 0
        given = self.cleaned_data.get("from_bow")
        return {"where": where, "days_away": days, "from_bow": None if given is None else int(given)}


class NewPlaceForm(PlaceFacts):
    """A new place, box or bag."""

    kind = forms.ChoiceField(label="What is it?", choices=KINDS)
    inside = forms.ChoiceField(label="In what?", required=False)

    field_order = ("kind", "inside", "mark", "name", "note")

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.parents = parents_of(boat)
        self.fields["inside"].choices = [("", "Nothing: it is an area"), *grouped(self.parents)]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if not self.errors and data["kind"] != Kind.AREA and not data["inside"]:
            self.add_error("inside", ValidationError("Say which area or locker it is in.", code="parent"))
        return data

    @property
    def parent(self) -> Location | None:
        """Return the place it goes into; none for an area."""
        if self.cleaned_data["kind"] == Kind.AREA:
            return None
        wanted = self.cleaned_data["inside"]
        return next(place for place in self.parents if place.code == wanted)


class QuickForm(BoatForm):
    """Many lockers at once, into one area."""

    quick_list = TextField(
        label="Lockers",
        max_length=3000,
        lines=True,
        help_text="Ranges, marks or names, with commas between: P1-P6, S1-S6, Forepeak, S7 Chart table",
    )
    area = forms.ChoiceField(label="Area", required=False)
    new_area = TextField(label="Or a new area", max_length=80, required=False)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        areas = Location.objects.in_use().filter(boat=boat, kind=Kind.AREA).by_mark()  # type: ignore[attr-defined]
        self.areas = {area.code: area for area in areas}
        self.fields["area"].choices = [  # type: ignore[attr-defined]
            ("", "Choose"),
            *((code, str(area)) for code, area in self.areas.items()),
        ]

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if "area" in data and "new_area" in data and bool(data["area"]) == bool(data["new_area"]):
            said = (
                "Choose an area, or name a new one."
                if not data["area"]
                else "Choose an area or name one, not both."
            )
            self.add_error("area", ValidationError(said, code="area"))
        return data


class ChooseForm(BoatForm):
    """One place out of a list: tapped, typed or scanned. Areas may be among them."""

    to = forms.CharField(label="Mark, name or code", required=False, max_length=400, strip=True)

    def __init__(self, boat: Boat, places: list[Location], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.choices = places

    def clean_to(self) -> Location:
        text = self.cleaned_data["to"]
        if not text:
            raise ValidationError("Choose a place.", code="required")
        found = find_place(self.choices, text)
        if found is None:
            raise ValidationError(
                f"No place “{text[:40]}” to choose here. Type its mark or name, or tap it in the list.",
                code="no_place",
            )
        return found


class RetireForm(BoatForm):
    """Where the things go that lie in a place taken out of use."""

    contents_to = PlaceField(label="Put its things into", required=False)


class SwapForm(BoatForm):
    """Two places whose labels were stuck on the wrong way round."""

    one = PlaceField(label="One place")
    other = PlaceField(label="The other")


def parents_of(boat: Boat) -> list[Location]:
    """Return the places that may hold others: all in use, but Not stowed yet. Each area, then what is in it."""
    places = Location.objects.in_use().filter(boat=boat).exclude(kind=Kind.UNSTOWED)  # type: ignore[attr-defined]
    return in_order(list(places.select_related("area").by_mark()))


def in_order(places: list[Location]) -> list[Location]:
    """Sort places by area: the area itself, then its places by their marks."""
    first = {place.pk: index for index, place in enumerate(places) if place.kind == Kind.AREA}
    last = len(first)
    return sorted(
        places,
        key=lambda place: (
            first.get(place.pk if place.kind == Kind.AREA else place.area_id or 0, last),
            place.kind != Kind.AREA,
        ),
    )


def grouped(places: list[Location]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return choices under the names of their areas."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for place in places:
        if place.kind == Kind.AREA:
            groups.setdefault(str(place), []).append((place.code, f"{place} (the area)"))
        else:
            groups.setdefault(str(place.area), []).append((place.code, str(place)))
    return list(groups.items())
