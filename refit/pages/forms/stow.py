"""What is typed standing at a locker: how many, what for, where to, what was counted.

The forms parse and look up; what is refused is decided by the stores.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from refit.boat.models import Boat, Location
from refit.calc.text import fold
from refit.pages.fields import (
    BoatForm,
    DayField,
    NumberField,
    PlaceField,
    QuantityField,
    TextField,
    find_place,
)
from refit.pages.forms.scan import read_photos
from refit.stores import reading
from refit.stores.actions.stow import MOST_PIECES, Counted
from refit.stores.models import Holding, Kept, Level, Part, Unit
from refit.work.models import Job

JUST_USED = "used"
MORE_LINES = range(3)
UNITS = [(unit.value, unit.label) for unit in Unit if unit != Unit.HOUR]


class TakeForm(BoatForm):
    """How many, for which job (its number, or just used), and when."""

    quantity = QuantityField(label="How many")
    job = forms.CharField(label="For", required=False, max_length=12)
    on = DayField(label="It happened on", required=False)
    agreed = forms.BooleanField(label="Take all the same", required=False)

    def __init__(self, boat: Boat, part: Part, jobs: "QuerySet[Job]", *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.jobs = jobs
        if part.kept != Kept.COUNTED:
            del self.fields["quantity"]

    def clean_job(self) -> Job | None:
        number = self.cleaned_data["job"]
        if number in ("", JUST_USED):
            return None
        job = None
        if number.isascii() and number.isdigit() and int(number) < 2**31:
            job = self.jobs.filter(number=int(number)).first()
        if job is None:
            raise ValidationError(f"There is no job {number}. Choose one of the list.", code="no_job")
        return job


class CorrectForm(TakeForm):
    """How many there really were, and how many of them are taken."""

    there = QuantityField(label="How many there were")
    field_order = ("there", "quantity")


class PutInForm(BoatForm):
    """How many of a known part, with its date or batch if it has one."""

    quantity = QuantityField(label="How many")
    expires_on = DayField(label="Runs out on", required=False)
    serial = TextField(label="Batch or serial number", max_length=60, required=False)
    pieces = NumberField(label="How many pieces", places=0, low=1, high=MOST_PIECES, required=False)
    on = DayField(label="It happened on", required=False)

    def __init__(self, boat: Boat, part: Part | None, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        if part is not None and part.kept != Kept.COUNTED:
            del self.fields["quantity"]
        if part is not None and part.in_pieces:
            self.fields["quantity"].label = "How long"
        else:
            del self.fields["pieces"]


class NewPartForm(PutInForm):
    """A part that is not known yet, made and put in at once."""

    name = TextField(label="Name", max_length=120)
    number = TextField(label="Maker’s number", max_length=60, required=False)
    unit = forms.ChoiceField(label="Counted in", choices=UNITS, initial=Unit.EACH)
    kept = forms.ChoiceField(label="Kept", choices=Kept.choices, initial=Kept.COUNTED)
    field_order = ("name", "number", "unit", "kept", "quantity")
    use_required_attribute = False  # what is kept by level needs no number, which the browser cannot know

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, None, *args, **kwargs)
        self.fields["quantity"].required = self.data.get("kept", Kept.COUNTED) == Kept.COUNTED


class PickForm(BoatForm):
    """Things ticked in a list, each with how many of it; blank is all. `items` is what the stores take."""

    on = DayField(label="It happened on", required=False)
    items: list[tuple[Holding, Decimal | None]]

    def __init__(self, boat: Boat, holdings: Sequence[Holding], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.holdings = list(holdings)
        for holding in self.holdings:
            self.fields[f"item-{holding.pk}"] = forms.BooleanField(required=False, label=holding.part.name)
            if holding.part.kept == Kept.COUNTED:
                self.fields[f"many-{holding.pk}"] = QuantityField(required=False, label=holding.part.name)

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield each thing with its tick and its box."""
        for holding in self.holdings:
            many = f"many-{holding.pk}"
            box = self[many] if many in self.fields else None
            yield {"holding": holding, "tick": self[f"item-{holding.pk}"], "many": box}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        everything = bool(self.data.get("all"))
        self.items = []
        for holding in self.holdings:
            many = data.get(f"many-{holding.pk}")
            if everything:
                self.items.append((holding, None))
            elif data.get(f"item-{holding.pk}") or many is not None:
                self.items.append((holding, many))
        if not self.items and not any(name.startswith("many-") for name in self.errors):
            self.add_error(None, ValidationError("Tick what to move.", code="nothing"))
        return data


class MoveForm(PickForm):
    """Things ticked, and the place they go to: named, or photographed."""

    use_required_attribute = False  # a photo of the label does as well
    to = PlaceField(
        label="To which place",
        help_text="Its mark, its name, or the four characters of its label.",
        error_messages={"required": "Say where to: a mark, a name or a label."},
    )
    photo = forms.FileField(
        label="Or a photo of its label",
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["to"].required = not self.files.get("photo")

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if data.get("photo") and data.get("to") is None and "to" not in self.errors:
            data["to"] = self._photographed(data["photo"])
        return data

    def _photographed(self, photo: Any) -> Location | None:
        read = read_photos([photo])[0]
        for found in read.found:
            place = find_place(self.place_options, found.text)
            if place is not None:
                return place
        words = read.wrong or "That label is of no place that things can be put in."
        self.add_error("photo", ValidationError(words, code="no_label"))
        return None


class CountForm(BoatForm):
    """A place walked through: how many of each there are; what is left blank is not touched.

    `found` is what was counted, for the stores.
    """

    on = DayField(label="Counted on", required=False)
    rest = forms.BooleanField(required=False, label="All the rest is there as written down")
    found: list[Counted]

    def __init__(self, boat: Boat, holdings: Sequence[Holding], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.holdings = list(holdings)
        for holding in self.holdings:
            name, label = f"n-{holding.pk}", holding.part.name
            if holding.part.kept == Kept.COUNTED:
                self.fields[name] = QuantityField(
                    low=0, required=False, label=label, widget=forms.TextInput(attrs={"size": 4})
                )
                continue
            levels = (
                (Level.FINE, Level.LOW, Level.GONE)
                if holding.part.kept == Kept.LEVEL
                else (Level.HERE, Level.GONE)
            )
            self.fields[name] = forms.ChoiceField(
                required=False,
                label=label,
                widget=forms.RadioSelect,
                choices=[(w.value, w.label) for w in levels],
            )
        for line in MORE_LINES:
            self.fields[f"{line}-part"] = forms.CharField(
                required=False, max_length=12, widget=forms.HiddenInput
            )
            self.fields[f"{line}-words"] = TextField(required=False, max_length=120, label="Name or number")
            self.fields[f"{line}-quantity"] = QuantityField(required=False, label="How many")

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield each thing that is down for the place with its box."""
        for holding in self.holdings:
            yield {"holding": holding, "box": self[f"n-{holding.pk}"]}

    def more(self) -> Iterator[dict[str, Any]]:
        """Yield the empty lines for what was found and is not down."""
        for line in MORE_LINES:
            yield {name: self[f"{line}-{name}"] for name in ("part", "words", "quantity")} | {"number": line}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self.found = [row for holding in self.holdings if (row := self._row(holding, data))]
        self.found += [row for line in MORE_LINES if (row := self._line(line, data))]
        if self.holdings and not self.found and not self.errors:
            raise ValidationError("Type what is there, or tick that all is as written down.", code="nothing")
        return data

    def _row(self, holding: Holding, data: dict[str, Any]) -> Counted | None:
        said = data.get(f"n-{holding.pk}")
        if said in (None, ""):
            if not data.get("rest"):
                return None
            return Counted(holding.part, holding.quantity, holding.level or None, holding.lot)
        if holding.part.kept == Kept.COUNTED:
            return Counted(holding.part, said, None, holding.lot)
        return Counted(holding.part, level=said, lot=holding.lot)

    def _line(self, line: int, data: dict[str, Any]) -> Counted | None:
        words, quantity = data.get(f"{line}-words", ""), data.get(f"{line}-quantity")
        if not words:
            if quantity is not None:
                self.add_error(f"{line}-words", ValidationError("Say of what.", code="required"))
            return None
        part = self._part(line, data.get(f"{line}-part", ""), words)
        if part is None:
            return None
        if part.kept == Kept.COUNTED and quantity is None and f"{line}-quantity" not in self.errors:
            self.add_error(f"{line}-quantity", ValidationError("Say how many.", code="required"))
            return None
        return Counted(part, quantity or Decimal(0))

    def _part(self, line: int, pk: str, words: str) -> Part | None:
        """Return the part that was chosen, or the one that the words can only mean."""
        hits = reading.parts_named(self.boat, words, most=20)
        chosen = [part for part in hits if str(part.pk) == pk]
        same = [part for part in hits if fold(part.name) == fold(words)]
        for found in (chosen, same, hits):
            if len(found) == 1:
                return found[0]
        if not hits:
            sentence = f"No part “{words[:40]}”. Leave it out here, and put it in as a new part afterwards."
        else:
            names = ", ".join(part.name for part in hits[:4])
            sentence = f"“{words[:40]}” may be {names}. Type more of it."
        self.add_error(f"{line}-words", ValidationError(sentence, code="which_part"))
        return None
