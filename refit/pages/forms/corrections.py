"""An order corrected after it was placed, as typed: its head, its lines, one more line, one less.

Parses; what stays as it is once something has arrived is decided in `buying.actions.corrections`.
"""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.buying.actions.corrections import Head, LineChange
from refit.buying.models import Line, Order, Supplier
from refit.calc.money import from_minor, minor_digits, to_minor
from refit.calc.numbers import format_quantity
from refit.calc.text import fold
from refit.pages.fields import BoatForm, DayField, MoneyField, NumberField, TextField
from refit.pages.forms.order_fields import Choices
from refit.pages.forms.order_lines import LineForm
from refit.pages.forms.order_typed import line_texts

MORE_LINES = 2  # empty rows at the end, for what was forgotten


class CorrectionForm(BoatForm):
    """What the order says of itself, and why it is corrected."""

    supplier = TextField(max_length=80, label="Supplier")
    ordered_on = DayField(label="Ordered on")
    expected_on = DayField(required=False, label="Expected on")
    reference = TextField(max_length=60, required=False, label="Their reference")
    rate = NumberField(places=8, low=0, high=9999999, required=False, label="Rate")
    note = TextField(max_length=500, lines=True, required=False, label="Note")
    why = TextField(max_length=200, required=False, label="Why it is corrected")
    corrections = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, choices: Choices, order: Order, *args: Any, **kwargs: Any) -> None:
        start = {name: getattr(order, name) for name in ("ordered_on", "expected_on", "reference", "note")}
        start |= {"corrections": order.corrections.count()}
        start |= {"supplier": order.supplier.name, "rate": format_quantity(order.rate)}
        super().__init__(choices.boat, *args, initial=start, **kwargs)
        self.choices, self.order, self.place_options = choices, order, choices.places
        self.is_foreign = order.currency != choices.boat.currency
        self.fields["supplier"].widget.attrs |= {"list": "suppliers", "autocomplete": "off"}
        self.fields["rate"].label = f"1 {choices.boat.currency} in {order.currency}"
        self.fields["note"].widget.attrs["rows"] = 2
        if not self.is_foreign:
            del self.fields["rate"]

    def clean_rate(self) -> Any:
        rate = self.cleaned_data["rate"]
        if rate is not None and rate <= 0:
            raise ValidationError("A rate is above nil.", code="rate")
        return rate

    @property
    def seen(self) -> int | None:
        """Return how many corrections there were when the page was opened."""
        return self.cleaned_data["corrections"]

    @property
    def known_supplier(self) -> Supplier | None:
        return self.choices.supplier(self.cleaned_data["supplier"])

    def head(self, supplier: Supplier) -> Head:
        """Return the head as corrected."""
        got = self.cleaned_data
        names = ("ordered_on", "expected_on", "reference", "note")
        return Head(supplier=supplier, rate=got.get("rate"), **{name: got[name] for name in names})


class CorrectLineForm(LineForm):
    """One line of a placed order as corrected, or one more."""

    line = forms.CharField(required=False, widget=forms.HiddenInput)
    off = forms.BooleanField(required=False, label="Take this line off")
    second_hand = forms.BooleanField(required=False, label="Second-hand")
    gift_value = MoneyField(required=False, label="A gift: what it is worth")
    replaces = forms.ChoiceField(required=False, label="Sent free in the place of")

    def __init__(
        self,
        choices: Choices,
        order: Order,
        position: int,
        olds: Sequence[Line],
        data: dict[str, Any],
        *,
        line: Line | None = None,
    ) -> None:
        super().__init__(choices, order.currency, position, data)
        self.stored, self.olds, self.home = line, {str(old.pk): old for old in olds}, choices.boat.currency
        fields: dict[str, Any] = self.fields
        fields["gift_value"].places = minor_digits(self.home)
        fields["gift_value"].label = f"A gift: what it is worth, {self.home}"
        fields["job"].label, fields["system"].none = "For job", "as the job"
        fields["system"].offer(choices.systems)
        mine = line.pk if line else None
        fields["replaces"].choices = [
            ("", "nothing"),
            *(
                (pk, f"{old.what}, order {old.order.number}")
                for pk, old in self.olds.items()
                if old.pk != mine
            ),
        ]

    def clean(self) -> dict[str, Any]:
        got = super().clean() or {}
        if self.errors or self.is_gone:
            return got
        if not self.is_blank and not self.has_price:
            got["total"], got["each"] = None, from_minor(0, self.currency)
        if not self.is_blank and self.amount() > 0:
            for name, words in (("gift_value", "A gift costs nothing"), ("replaces", "What is sent free")):
                if got[name] not in (None, ""):
                    self.add_error(name, ValidationError(f"{words}: its price is nil.", code="not_free"))
        return got

    @property
    def is_gone(self) -> bool:
        """Return whether the line is taken off, or is an empty row at the end."""
        return bool(self.cleaned_data.get("off")) or (self.stored is None and self.is_blank)

    @property
    def asks_more(self) -> bool:
        """Return whether what is folded away says something, so that it stands open."""
        names = ("second_hand", "gift_value", "replaces", "pack_size", "service", "off")
        return any(self[name].value() or name in self.errors for name in names)

    def change(self) -> LineChange:
        """Return the line as corrected."""
        got = self.cleaned_data
        worth = got["gift_value"]
        return LineChange(
            facts=self.facts(None, None, self.chosen),
            line=self.stored,
            second_hand=got["second_hand"],
            gift_value=None if worth is None else to_minor(worth, self.home),
            replaces=self.olds.get(got["replaces"]),
        )


class CorrectionSheet:
    """The form in whole: the head and its lines, each bound to what was sent or to what is stored."""

    def __init__(self, order: Order, lines: Sequence[Line], olds: Sequence[Line], sent: Any = None) -> None:
        self.order = order
        self.choices = Choices.read(order.boat)
        self._offer_what_is_there(lines)
        self.head = CorrectionForm(self.choices, order, sent)
        by_pk = {str(line.pk): line for line in lines}
        if sent is None:
            rows: list[tuple[dict[str, Any], Line | None]] = [(texts_of(line, order), line) for line in lines]
            rows += [({}, None)] * MORE_LINES
        else:
            rows = _rows_sent(sent, by_pk)
        found = self.choices.known_parts(row.get("what", "")[:200] for row, line in rows if line is None)
        for row, line in rows:
            part = found.get(_folded(row.get("what", "")))
            if line is None and part is not None and not row.get("service"):
                row["part"] = str(part.pk)
        self.choices.read_parts(str(row.get("part") or "") for row, _ in rows)
        self.lines = [
            CorrectLineForm(self.choices, order, position, olds, _prefixed(row, position), line=line)
            for position, (row, line) in enumerate(rows)
        ]
        self.is_sent = sent is not None

    def _offer_what_is_there(self, lines: Sequence[Line]) -> None:
        """Let what the order names already be chosen, though it is out of use by now."""
        choices = self.choices
        choices.parts |= {line.part_id: line.part for line in lines if line.part_id and line.part}
        for line in lines:
            if line.place and line.place not in choices.places:
                choices.places.append(line.place)
            if line.system and line.system not in choices.systems:
                choices.systems.append(line.system)

    def is_valid(self) -> bool:
        """Return whether head and lines are right by themselves."""
        return all([self.head.is_valid(), *[line.is_valid() for line in self.lines]])

    @property
    def wrong_lines(self) -> list[CorrectLineForm]:
        return [line for line in self.lines if line.errors] if self.is_sent else []

    def changes(self) -> list[LineChange]:
        """Return the lines that stay or are new, as corrected."""
        return [line.change() for line in self.lines if not line.is_gone]


def texts_of(line: Line, order: Order) -> dict[str, Any]:
    """Return a stored line as a person would type it."""
    worth = line.gift_value
    row = line_texts(line, order)
    return row | {
        "line": str(line.pk),
        "job": f"{line.job.number} {line.job.title}" if line.job else "",
        "second_hand": "on" if line.second_hand else "",
        "gift_value": "" if worth is None else f"{from_minor(worth, order.boat.currency):f}",
        "replaces": str(line.replaces_id or ""),
    }


def _rows_sent(sent: Any, by_pk: dict[str, Line]) -> list[tuple[dict[str, Any], Line | None]]:
    """Return the rows of what was sent: the order's own lines, each once, and as many new ones as were typed."""
    rows: dict[int, dict[str, Any]] = {}
    for name, value in sent.items():
        head, _, rest = name.partition("-")
        place, _, word = rest.partition("-")
        if head == "line" and place.isascii() and place.isdecimal() and len(place) < 4 and word:
            rows.setdefault(int(place), {})[word] = value
    found, seen = [], set()
    for _, row in sorted(rows.items()):
        pk = row.get("line", "")
        line = by_pk.get(pk) if pk not in seen else None
        if pk and line is None:
            continue  # not a line of this order, or sent twice
        seen.add(pk)
        found.append((row, line))
    return found


def _prefixed(row: dict[str, Any], position: int) -> dict[str, Any]:
    return {f"line-{position}-{word}": value for word, value in row.items()}


def _folded(text: str) -> str:
    return fold(text[:200])[:120]
