"""Money back and goods sent back, as typed.

Parses; what may come back, and how many may go back, is decided in `buying.actions.refunds`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat
from refit.buying.actions.refunds import Refund
from refit.buying.models import CreditKind, Line, Order
from refit.calc.money import minor_digits
from refit.calc.numbers import format_quantity
from refit.pages.fields import BoatForm, DayField, MoneyField, QuantityField, TextField

CAME, APPLIED = "came", "applied"
NIL = Decimal(0)


class RefundForm(BoatForm):
    """Money back on an order: come, or applied for only."""

    kind = forms.ChoiceField(choices=CreditKind.choices, label="For what")
    amount = MoneyField(label="How much")
    currency = forms.ChoiceField(label="Currency", required=False)
    came = MoneyField(label="What truly came", required=False)
    state = forms.ChoiceField(
        choices=[(CAME, "It has come"), (APPLIED, "Applied for, not come yet")],
        label="Is the money here?",
        widget=forms.RadioSelect,
    )
    came_on = DayField(label="Since when")
    as_store_credit = forms.BooleanField(required=False, label="It came as a balance with them, not as money")
    reason = TextField(max_length=200, required=False, label="Why")
    reference = TextField(max_length=60, required=False, label="Their reference")
    line = forms.MultipleChoiceField(label="Lines", widget=forms.CheckboxSelectMultiple)

    def __init__(self, boat: Boat, order: Order, lines: Sequence[Line], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.by_pk = {str(line.pk): line for line in lines}
        home = boat.currency
        self.is_foreign = order.currency != home
        names = [order.currency, home] if self.is_foreign else [home]
        fields: dict[str, Any] = self.fields
        fields["currency"].choices = [(name, name) for name in names]
        fields["came_on"].label = "Came on, or applied for on"
        fields["came"].label = f"What truly came, {home}"
        fields["came"].places = minor_digits(home)
        fields["came"].help_text = "As the bank statement has it; empty: at the order's rate"
        chosen = str(self["currency"].value() or names[0])
        fields["amount"].places = minor_digits(chosen if chosen in names else home)
        fields["reason"].help_text = "Needed for goodwill, which may be more than the goods cost"
        fields["line"].choices = [(pk, line.what) for pk, line in self.by_pk.items()]
        fields["line"].error_messages |= {
            "required": "Tick the lines that the money is for.",
            "invalid_choice": "Tick lines of this order.",
        }

    def clean(self) -> dict[str, Any]:
        got = super().clean() or {}
        if got.get("kind") == CreditKind.GOODWILL and not got.get("reason") and "reason" in got:
            self.add_error("reason", ValidationError("Say why they gave it.", code="no_reason"))
        if got.get("as_store_credit") and got.get("state") == APPLIED:
            self.add_error(
                "as_store_credit", ValidationError("Say so when it has come; untick it.", code="not_come")
            )
        return got

    @property
    def ticked(self) -> set[str]:
        """Return the lines that stand ticked, as the page shows them."""
        value = self["line"].value() or []
        return {str(pk) for pk in value} if isinstance(value, (list, tuple, set)) else set()

    @property
    def lines(self) -> list[Line]:
        return [self.by_pk[pk] for pk in self.cleaned_data["line"]]

    @property
    def has_come(self) -> bool:
        return bool(self.cleaned_data["state"] == CAME)

    def refund(self) -> Refund:
        """Return the refund as typed."""
        got = self.cleaned_data
        own = got["currency"] or self.boat.currency
        return Refund(
            kind=got["kind"],
            amount=got["amount"],
            currency=own,
            came_on=got["came_on"] if self.has_come else None,
            applied_on=None if self.has_come else got["came_on"],
            came=got["came"] if own != self.boat.currency else None,
            reason=got["reason"],
            reference=got["reference"],
            as_store_credit=got["as_store_credit"],
        )


class CameForm(BoatForm):
    """The day on which money that was applied for came, and how much of it."""

    came_on = DayField(label="Came on")
    came = MoneyField(label="How much came", low=Decimal("0.001"))

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.fields["came"].label = f"How much came, {boat.currency}"
        self.fields["came"].places = minor_digits(boat.currency)  # type: ignore[attr-defined]


class SentForm(BoatForm):
    """The day on which goods were sent back, and the carrier's reference."""

    sent_on = DayField(label="Sent on")
    reference = TextField(max_length=60, required=False, label="Carrier and number")


@dataclass
class Goer:
    """One line of which something may go back: how many came, where they lie."""

    line: Line
    left: Decimal
    holdings: list[Any] = field(default_factory=list)  # with `free`: how much is not set aside yet
    form: Any = None

    def name(self, word: str) -> str:
        """Return the name of a field of this line."""
        return f"{self.line.pk}-{word}"

    # Templates draw fields by name; they cannot call with an argument.
    goes = property(lambda self: self.form[self.name("goes")])
    quantity = property(lambda self: self.form[self.name("quantity")])
    source = property(lambda self: self.form[self.name("from")])


class GoingBackForm(BoatForm):
    """What of an order goes back, how many, and where they lie."""

    why = TextField(max_length=200, required=False, label="Why")

    def __init__(self, boat: Boat, rows: Sequence[Goer], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.rows = rows
        for row in rows:
            row.form = self
            self._add_fields(row, only=len(rows) == 1)

    def _add_fields(self, row: Goer, *, only: bool) -> None:
        what, fields = row.line.what, self.fields
        first = row.holdings[0].free if row.holdings else row.left
        fields[row.name("goes")] = forms.BooleanField(label=f"{what} goes back", required=False, initial=only)
        fields[row.name("quantity")] = QuantityField(
            label="How many", required=False, initial=min(row.left, first)
        )
        spots = [(str(held.pk), self._spot(held, row)) for held in row.holdings]
        fields[row.name("from")] = forms.ChoiceField(
            label="Lies in",
            required=False,
            choices=[*spots, ("", "in no locker")],
            initial=spots[0][0] if spots else "",
        )

    def _spot(self, held: Any, row: Goer) -> str:
        batch = f", {held.lot}" if held.lot else ""
        other = f", {held.part}" if held.part_id != row.line.part_id else ""
        return f"{held.place}{other}{batch}: {format_quantity(held.free)}"

    def clean(self) -> dict[str, Any]:
        got = super().clean() or {}
        if self.rows and not any(got.get(row.name("goes")) for row in self.rows):
            self.add_error(None, ValidationError("Tick what goes back.", code="nothing"))
        for row in self.rows:
            name = row.name("quantity")
            if got.get(row.name("goes")) and name in got and got[name] is None:
                self.add_error(name, ValidationError("How many go back?", code="nothing"))
        return got

    @property
    def items(self) -> list[tuple[Line, Decimal, Any]]:
        """Return what goes back: the line, how many, and the holding they lie in (None: in no locker)."""
        got = self.cleaned_data
        found = []
        for row in self.rows:
            if got[row.name("goes")]:
                spot = got[row.name("from")]
                held = next((held for held in row.holdings if str(held.pk) == spot), None)
                found.append((row.line, got[row.name("quantity")], held))
        return found
