"""Forms of parts: what is known of one, one more number, a photo."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, System
from refit.calc.barcodes import BarcodeProblem, gtin
from refit.calc.numbers import format_quantity
from refit.calc.text import fold
from refit.pages.fields import BoatForm, NumberField, PlaceField, QuantityField, TextField
from refit.stores.models import Hazard, Kept, NumberKind, Part, PartNumber, Side, Unit
from refit.stores.reading import parts_named

FACTS = (
    "name",
    "specification",
    "system",
    "unit",
    "kept",
    "usual_place",
    "is_spare",
    "minimum",
    "has_expiry",
    "has_serial",
    "weight_kg",
    "hazard",
    "superseded_by",
    "in_pieces",
    "bits_under",
    "sets_of",
    "side",
    "no_air",
)


class PartField(TextField):
    """A part of the boat, by its whole name or any of its numbers; gives a `Part` or None."""

    boat: Boat

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=120, **kwargs)
        self.widget.attrs.update({"autocomplete": "off", "spellcheck": "false"})

    def prepare_value(self, value: Any) -> Any:
        return _called(value) if isinstance(value, Part) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return part_called(self.boat, text) if text else None


def part_called(boat: Boat, text: str) -> Part:
    """Return the one part with this name or number, or say which ones are near."""
    wanted = fold(text)
    numbered = PartNumber.objects.filter(boat=boat, folded=wanted).values("part")
    hits = list(Part.objects.filter(boat=boat, pk__in=numbered)[:2])
    if not hits:
        near = Part.objects.filter(boat=boat, search__startswith=wanted)
        hits = [part for part in near[:50] if fold(part.name) == wanted]
    if len(hits) == 1:
        return hits[0]
    others = hits or parts_named(boat, text, most=3)
    hint = "Did you mean " + " or ".join(f"“{_called(part)}”" for part in others) + "?" if others else ""
    sentence = f"No single part is called “{text[:40]}”. Type its whole name or a number. {hint}".strip()
    raise ValidationError(sentence, code="no_part")


def _called(part: Part) -> str:
    number = part.numbers.first()  # type: ignore[attr-defined]
    return number.number if number else part.name


class PartForm(BoatForm):
    """What is known of a part. The name is enough to begin with."""

    name = TextField(
        max_length=120, label="Name", help_text="What you would call it: Impeller, 8-vane, 57 mm"
    )
    specification = TextField(
        max_length=300, required=False, label="Specification", help_text="Size, thread, material, rating"
    )
    system = forms.ModelChoiceField(
        System.objects.none(), required=False, label="System", empty_label="No one system"
    )
    usual_place = PlaceField(required=False, label="Usual place", help_text="Mark or name")
    unit = forms.ChoiceField(choices=Unit.choices, label="Counted in")
    kept = forms.ChoiceField(
        choices=[
            (Kept.COUNTED, "Counted"),
            (Kept.LEVEL, "By level: fine, low, gone"),
            (Kept.HERE, "Just here: not counted"),
        ],
        label="How it is kept",
    )
    is_spare = forms.BooleanField(required=False, label="A spare to carry")
    minimum = QuantityField(
        low=0, required=False, label="Least to carry", help_text="Aboard and in date, at any time"
    )
    has_expiry = forms.BooleanField(required=False, label="Has a date that runs out")
    has_serial = forms.BooleanField(required=False, label="Has a serial or batch number")
    weight_kg = NumberField(places=4, low=0, high=Decimal("99999"), required=False, label="Weight of one, kg")
    hazard = forms.ChoiceField(
        choices=[("", "None known"), *Hazard.choices],
        required=False,
        label="Dangerous goods class",
        help_text="As on the maker's safety sheet, section 14",
    )
    in_pieces = forms.BooleanField(
        required=False,
        label="Kept in pieces, each with its length",
        help_text="Rope, wire, hose, cable, chain: a cut leaves a piece. What lies in places now becomes a piece there.",
    )
    bits_under = QuantityField(
        low=0, required=False, label="Ends shorter than this go to bits", help_text="Empty keeps every end"
    )
    sets_of = NumberField(
        places=0,
        low=1,
        high=1000,
        required=False,
        label="Fitted in sets of",
        help_text="4: six wanted is eight",
    )
    side = forms.ChoiceField(
        choices=[("", "Neither"), *[choice for choice in Side.choices if choice[0]]],
        required=False,
        label="Side",
        help_text="Port and starboard parts are different parts.",
    )
    no_air = forms.BooleanField(required=False, label="May not go by air")
    superseded_by = PartField(
        required=False, label="Superseded by", help_text="Name or number of the part that takes its place"
    )

    def __init__(self, boat: Boat, *args: Any, part: Part | None = None, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.part = part
        systems = System.objects.filter(boat=boat)
        self.fields["system"].queryset = systems.filter(retired_at=None) | systems.filter(  # type: ignore[attr-defined]
            pk=(part.system_id if part else None) or 0
        )
        self.fields["superseded_by"].boat = boat  # type: ignore[attr-defined]

    def clean_minimum(self) -> Decimal:
        return self.cleaned_data["minimum"] or Decimal(0)

    def clean_bits_under(self) -> Decimal:
        return self.cleaned_data["bits_under"] or Decimal(0)

    def clean_sets_of(self) -> int:
        return int(self.cleaned_data["sets_of"] or 1)

    def clean_superseded_by(self) -> Part | None:
        """Refuse a part that is superseded by itself, at once or round a ring."""
        newer = self.cleaned_data["superseded_by"]
        after, seen = newer, set()
        while after is not None and after.pk not in seen:
            if self.part and after.pk == self.part.pk:
                raise ValidationError(
                    f"{newer} is itself superseded by this part, or is this part.", code="ring"
                )
            seen.add(after.pk)
            after = after.superseded_by
        return newer

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("in_pieces") and data.get("kept", Kept.COUNTED) != Kept.COUNTED:
            sentence = "What is kept in pieces is counted: choose that."
            self.add_error("in_pieces", ValidationError(sentence, code="not_counted"))
        if data.get("minimum") and data.get("kept", Kept.COUNTED) != Kept.COUNTED:
            self.add_error(
                "minimum",
                ValidationError(
                    "A least number needs counting. Keep it counted, or leave this empty.", code="not_counted"
                ),
            )
        elif data.get("minimum") and not data.get("is_spare"):
            least = format_quantity(data["minimum"])
            self.add_error(
                "is_spare",
                ValidationError(
                    f"Tick this to carry at least {least}, or leave that empty.", code="no_spare"
                ),
            )
        return data

    @property
    def facts(self) -> dict[str, Any]:
        """Return the facts as the action takes them."""
        return {name: self.cleaned_data[name] for name in FACTS}


class NewPartForm(PartForm):
    """A new part, with the numbers that stand on it or on its bill."""

    maker_number = TextField(max_length=60, required=False, label="Maker's number")
    maker = TextField(max_length=80, required=False, label="Maker")
    supplier_number = TextField(max_length=60, required=False, label="Supplier's number")
    supplier = TextField(max_length=80, required=False, label="Supplier")
    gtin = TextField(max_length=20, required=False, label="Barcode (GTIN)")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["gtin"].widget.attrs["inputmode"] = "numeric"

    def clean_gtin(self) -> str:
        return checked_gtin(self.cleaned_data["gtin"]) if self.cleaned_data["gtin"] else ""

    @property
    def numbers(self) -> list[tuple[str, str, str]]:
        """Return the numbers given: kind, number, whose."""
        data = self.cleaned_data
        rows = [
            (NumberKind.MAKER, data["maker_number"], data["maker"]),
            (NumberKind.SUPPLIER, data["supplier_number"], data["supplier"]),
            (NumberKind.GTIN, data["gtin"], ""),
        ]
        return [(str(kind), number, whose) for kind, number, whose in rows if number]


class NumberForm(BoatForm):
    """One more number of a part."""

    number = TextField(max_length=60, label="Number")
    kind = forms.ChoiceField(choices=NumberKind.choices, label="Which")
    whose = TextField(max_length=80, required=False, label="Maker or supplier")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("kind") == NumberKind.GTIN and data.get("number"):
            try:
                data["number"] = checked_gtin(data["number"])
            except ValidationError as refused:
                self.add_error("number", refused)
        return data


class PhotoForm(BoatForm):
    """A photo of a part."""

    photo = forms.FileField(
        label="Photo",
        widget=forms.ClearableFileInput(attrs={"accept": "image/*"}),
    )


def checked_gtin(text: str) -> str:
    """Return a barcode's number as it is kept, or refuse it kindly."""
    try:
        return gtin(text)
    except BarcodeProblem as problem:
        raise ValidationError(str(problem), code=problem.code) from None
