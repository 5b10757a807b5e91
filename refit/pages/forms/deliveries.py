"""What is typed when an order is placed and when it comes: days, how many, where, as what."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.urls import reverse

from refit.boat.models import Boat, Location
from refit.buying.actions.deliveries import Arrival
from refit.buying.models import Line, LineKind
from refit.calc.codes import code_in
from refit.calc.numbers import format_quantity
from refit.calc.text import fold
from refit.carry.photo_codes import PhotoProblem, read_codes
from refit.pages.fields import BoatForm, DayField, PlaceField, QuantityField, TextField, find_place
from refit.pages.order_sheet import how_many
from refit.stores.models import Part, PartNumber, Unit
from refit.stores.reading import parts_named

MOST_PHOTO = 25 * 1024 * 1024


class PlacedForm(BoatForm):
    """The day on which an order was placed."""

    on = DayField(label="Ordered on")


@dataclass
class LineFields:
    """One line that is still to come, and the fields that ask about it."""

    form: "BookInForm"
    line: Line
    asks_more: bool = False
    prefix: str = field(init=False)

    def __post_init__(self) -> None:
        self.prefix = str(self.line.pk)

    def name(self, word: str) -> str:
        """Return the name of a field of this line."""
        return f"{self.prefix}-{word}"

    def bound(self, word: str) -> Any:
        """Return a field ready to draw, or None if the line has none such."""
        name = self.name(word)
        return self.form[name] if name in self.form.fields else None

    @property
    def has_place(self) -> bool:
        return self.line.kind != LineKind.SERVICE

    @property
    def becomes_part(self) -> bool:
        return self.line.kind == LineKind.WORDS

    @property
    def ordered(self) -> str:
        return how_many(self.line)

    # Templates draw fields by name; they cannot call with an argument.
    came = property(lambda self: self.bound("came"))
    quantity = property(lambda self: self.bound("quantity"))
    place = property(lambda self: self.bound("place"))
    expires = property(lambda self: self.bound("expires"))
    serial = property(lambda self: self.bound("serial"))
    as_words = property(lambda self: self.bound("as_words"))
    as_part = property(lambda self: self.bound("as_part"))
    more = property(lambda self: self.bound("more"))
    wont = property(lambda self: self.bound("wont"))
    to_job = property(lambda self: self.bound("to_job"))
    label = property(lambda self: self.bound("label"))

    @property
    def wants_fold(self) -> bool:
        """Return whether something in the fold was filled in or is wrong, so that it stands open."""
        if not self.form.is_bound:
            return False
        names = [self.name(word) for word in ("wont", "as_words", "label", "to_job")]
        return any(self.form.data.get(name) or name in self.form.errors for name in names)


class BookInForm(BoatForm):
    """What came of one order, or of several that came in one parcel: a few fields for each open line."""

    on = DayField(label="Came on")
    to = PlaceField(label="The rest goes to", required=False)
    to_label = forms.FileField(label="Photo of a locker's label", required=False)

    def __init__(self, boat: Boat, lines: list[Line], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.fields["to_label"].widget.attrs.update(
            {"accept": "image/*", "capture": "environment", "data-autosubmit": ""}
        )
        self.rows = [LineFields(self, line) for line in lines]
        for row in self.rows:
            self._add_fields(row, only=len(lines) == 1)

    def _add_fields(self, row: LineFields, *, only: bool) -> None:
        line, fields = row.line, self.fields
        unit = "" if line.unit == Unit.EACH else f", {line.get_unit_display()}"
        fields[row.name("came")] = forms.BooleanField(label=f"{line.what} came", required=False, initial=only)
        fields[row.name("quantity")] = QuantityField(
            label=f"How many{unit}", initial=line.open_quantity, required=False
        )
        fields[row.name("more")] = forms.BooleanField(label="Yes, more came than ordered", required=False)
        fields[row.name("wont")] = forms.BooleanField(label="The rest won't come", required=False)
        if not row.has_place:
            return
        usable = line.place if line.place and line.place.holds_things else None
        initial = said_as(usable, self.place_options) if usable else None
        place = PlaceField(label="Goes to", initial=initial, required=False)
        place.places = self.place_options
        place.widget.attrs["placeholder"] = "Not stowed yet"
        fields[row.name("place")] = place
        fields[row.name("expires")] = DayField(label="Use by", required=False)
        fields[row.name("serial")] = TextField(label="Batch or serial", max_length=60, required=False)
        fields[row.name("as_words")] = TextField(label="It is this part", max_length=120, required=False)
        if line.part_id:
            fields[row.name("as_words")].label = "Came as another part"
        fields[row.name("as_words")].widget.attrs.update(
            {
                "autocomplete": "off",
                "placeholder": "Name or number",
                "hx-get": reverse("pages:book-in-parts", args=[self.boat.slug, line.order.number]),
                "hx-trigger": "input changed delay:250ms",
                "hx-target": f"#found-{row.prefix}",
            }
        )
        fields[row.name("as_part")] = forms.CharField(widget=forms.HiddenInput, required=False, max_length=19)
        photo = forms.FileField(label="Photo of its locker's label", required=False)
        photo.widget.attrs.update({"accept": "image/*", "capture": "environment", "data-autosubmit": ""})
        fields[row.name("label")] = photo
        if line.job is not None:
            fields[row.name("to_job")] = forms.BooleanField(
                label=f"Straight to job {line.job.number}", required=False
            )

    def clean(self) -> dict[str, Any]:
        for row in self.rows:
            came, wont = self._value(row, "came"), self._value(row, "wont")
            if came:
                self._check_quantity(row)
            elif not wont:
                self._untouched(row)
            if came and row.has_place:
                self.cleaned_data[row.name("part")] = self._came_as(row)
        return self.cleaned_data

    def _value(self, row: LineFields, word: str) -> Any:
        return self.cleaned_data.get(row.name(word))

    def _check_quantity(self, row: LineFields) -> None:
        quantity, coming = self._value(row, "quantity"), row.line.open_quantity
        if row.name("quantity") in self.errors:
            return
        if quantity is None:
            self.add_error(row.name("quantity"), ValidationError("How many came?", code="required"))
        elif quantity > coming:
            row.asks_more = True
            if not self._value(row, "more"):
                sentence = (
                    f"{format_quantity(quantity)} is more than the {format_quantity(coming)} still to come. "
                    "Tick that more came, if so."
                )
                self.add_error(row.name("quantity"), ValidationError(sentence, code="more_than_ordered"))

    def _untouched(self, row: LineFields) -> None:
        """What stands in a line that isn't ticked says nothing; but a number changed there was meant."""
        typed = self._value(row, "quantity")
        for word in ("place", "expires", "serial"):
            self.errors.pop(row.name(word), None)
        if row.name("quantity") in self.errors or (typed is not None and typed != row.line.open_quantity):
            self.errors.pop(row.name("quantity"), None)
            sentence = f"Tick {row.line.what} if this came."
            self.add_error(row.name("quantity"), ValidationError(sentence, code="not_ticked"))

    def _came_as(self, row: LineFields) -> Part | None:
        words = self._value(row, "as_words")
        if not words:
            return None
        parts = Part.objects.in_use().filter(boat=self.boat)
        chosen = self._value(row, "as_part") or ""
        if chosen.isascii() and chosen.isdigit():
            part = parts.filter(pk=int(chosen)).first() if int(chosen) < 2**63 else None
            if part is not None and part.name == words:
                return part
        try:
            return self._named(parts, words)
        except ValidationError as problem:
            self.add_error(row.name("as_words"), problem)
            return None

    def _named(self, parts: Any, words: str) -> Part:
        exact = list(parts.filter(name__iexact=words)[:2])
        if len(exact) != 1:
            numbered = PartNumber.objects.filter(boat=self.boat, folded=fold(words)).values("part")
            exact = list(parts.filter(pk__in=numbered)[:2])
        if len(exact) == 1:
            return exact[0]
        found = parts_named(self.boat, words)
        if len(found) == 1:
            return found[0]
        if found:
            names = "; ".join(part.name for part in found[:4])
            raise ValidationError(
                f"Several parts fit: {names}. Type more of it, or its number.", code="several"
            )
        raise ValidationError(
            f"No part “{words[:40]}”. Make it under Parts first, then book it in.", code="no_part"
        )

    def arrivals(self) -> list[Arrival]:
        """Return what came, ready for the action."""
        found = []
        for row in self.rows:
            came, wont = bool(self._value(row, "came")), bool(self._value(row, "wont"))
            if not came and not wont:
                continue
            place = self._value(row, "place") or (self.cleaned_data["to"] if row.has_place else None)
            found.append(
                Arrival(
                    row.line,
                    self._value(row, "quantity") if came else Decimal(0),
                    place=place,
                    serial=self._value(row, "serial") or "",
                    expires_on=self._value(row, "expires"),
                    came_as=self._value(row, "part"),
                    wont_come=wont,
                    to_job=bool(self._value(row, "to_job")),
                    more_agreed=bool(self._value(row, "more")),
                )
            )
        return found


def said_as(place: Location, places: list[Location]) -> str:
    """Return the shortest words that mean this place: its mark, else its name, else its code."""
    for words in (place.mark, place.name):
        if words and find_place(places, words) == place:
            return words
    return place.code


def read_labels(form: BookInForm, data: Any, files: Any) -> list[str]:
    """Set, in what was sent, each place of whose label a photo came; return what could not be read."""
    problems = []
    for name, photo in files.items():
        target = "to" if name == "to_label" else name.removesuffix("label") + "place"
        if name not in form.fields or target not in form.fields:
            continue
        place, problem = _place_on(photo, form.place_options)
        if place is None:
            problems.append(problem)
            continue
        data[target] = said_as(place, form.place_options)
        tick = name.removesuffix("label") + "came"
        if tick in form.fields:
            data[tick] = "on"
    return problems


def _place_on(photo: Any, places: list[Location]) -> tuple[Location | None, str]:
    if photo.size > MOST_PHOTO:
        return None, "The photo is over 25 MB. Send a smaller one."
    try:
        codes = [code_in(found.text) for found in read_codes(photo.read())]
    except PhotoProblem as problem:
        return None, str(problem)
    for code in codes:
        place = find_place(places, code) if code else None
        if place is not None:
            return place, ""
    if any(codes):
        return None, "This label is not that of a place where things lie."
    return None, "No label read. Hold still, closer, with light on it."
