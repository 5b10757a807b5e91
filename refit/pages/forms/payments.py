"""Payments: how a payment is typed, and how it is split over orders and bills."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat
from refit.buying.actions.payments import Split
from refit.buying.models import Means, Supplier
from refit.buying.owing import Owed
from refit.calc.money import from_minor, minor_digits, to_minor
from refit.pages.fields import BoatForm, DayField, MoneyField, NumberField, TextField


class ShareOutForm(forms.Form):
    """Who was paid and how much in all: the first step of a payment, read from the address."""

    supplier = forms.ModelChoiceField(
        queryset=Supplier.objects.none(), label="Who was paid", required=False, empty_label="Choose"
    )
    amount = MoneyField(label="How much in all", required=False)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["supplier"]
        field.queryset = Supplier.objects.filter(boat=boat)
        amount: Any = self.fields["amount"]
        amount.label, amount.places = f"How much in all, {boat.currency}", minor_digits(boat.currency)


class Row:
    """One order or bill that a payment may go to, with the names of its boxes."""

    def __init__(self, owed: Owed) -> None:
        self.owed = owed
        self.tick, self.amount, self.settles = (f"{owed.key}-{word}" for word in ("pay", "amount", "settles"))

    @property
    def foreign(self) -> str:
        """Return the order's own currency where it is not the boat's."""
        order = self.owed.order
        return order.currency if order is not None and self.owed.own_left is not None else ""

    @property
    def words(self) -> str:
        owed = self.owed
        if owed.order is not None:
            return f"order {owed.order.number}"
        return str(owed.charge)


class PaymentForm(BoatForm):
    """A payment: when, by whom, by what means, and for each order or bill how much of it."""

    paid_on = DayField(label="Paid on")
    means = forms.ChoiceField(choices=Means, label="By", widget=forms.RadioSelect)
    amount = MoneyField(
        label="How much in all", required=False, help_text="If you type it, the parts below must make it."
    )
    payee = forms.ModelChoiceField(
        queryset=Supplier.objects.none(), label="Paid to", required=False, empty_label="Not said"
    )
    payer = TextField(label="Who paid", max_length=80, required=False)
    we_owe = forms.BooleanField(label="A helper paid: we owe it to them", required=False)
    is_deposit = forms.BooleanField(label="A deposit, before the work is done", required=False)
    reference = TextField(label="Reference", max_length=60, required=False)

    def __init__(self, boat: Boat, owing: Sequence[Owed], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.rows = [Row(owed) for owed in owing]
        field: Any = self.fields["payee"]
        field.queryset = Supplier.objects.filter(boat=boat)
        amount: Any = self.fields["amount"]
        amount.label, amount.places = f"How much in all, {boat.currency}", minor_digits(boat.currency)
        for row in self.rows:
            name = row.words
            self.fields[row.tick] = forms.BooleanField(label=f"Pay {name}", required=False)
            self.fields[row.amount] = MoneyField(
                label=f"{boat.currency} for {name}", places=minor_digits(boat.currency), required=False
            )
            if row.foreign:
                self.fields[row.settles] = NumberField(
                    label=f"settled, {row.foreign}",
                    places=minor_digits(row.foreign),
                    low=0,
                    high=9999999999,
                    required=False,
                    help_text="What of the bill this paid. Leave it out if it sets no rate.",
                )

    def parts(self) -> list[dict[str, Any]]:
        """Return each row with its boxes, for the page."""
        return [
            {
                "owed": row.owed,
                "tick": self[row.tick],
                "amount": self[row.amount],
                "settles": self[row.settles] if row.foreign else None,
                "foreign": row.foreign,
            }
            for row in self.rows
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for row in self.rows:
            if not data.get(row.tick):
                continue
            own, left = data.get(row.settles), row.owed.own_left
            if row.foreign and own and left is not None and to_minor(own, row.foreign) > max(left, 0):
                self.add_error(
                    row.settles,
                    ValidationError(
                        f"{from_minor(max(left, 0), row.foreign):,f} {row.foreign} of {row.words} is still "
                        f"open, not {own}.",
                        code="settles",
                    ),
                )
        if data.get("we_owe") and not data.get("payer"):
            self.add_error("payer", ValidationError("Who is owed? Type who paid.", code="payer"))
        return data

    def splits(self) -> list[Split]:
        """Return the ticked parts; a part without an amount is what is still owed."""
        found = []
        for row in self.rows:
            if not self.cleaned_data[row.tick]:
                continue
            typed, own = self.cleaned_data[row.amount], self.cleaned_data.get(row.settles)
            amount = row.owed.left if typed is None else to_minor(typed, self.boat.currency)
            settles = to_minor(own, row.foreign) if row.foreign and own else None
            found.append(Split(amount, row.owed.order, row.owed.charge, settles or None))
        return found

    def total(self) -> int | None:
        """Return what was typed as the sum of it all, minor units."""
        typed = self.cleaned_data["amount"]
        return None if typed is None else to_minor(typed, self.boat.currency)

    def facts(self) -> dict[str, Any]:
        """Return the rest of what was typed, ready for the action."""
        data = self.cleaned_data
        names = ("means", "payee", "payer", "we_owe", "is_deposit", "reference")
        return {name: data[name] for name in names}


def filled(owing: Sequence[Owed], total: int | None, home: str) -> dict[str, Any]:
    """Return the first words of a payment's boxes: all that is owed, or the oldest of it up to a total."""
    initial: dict[str, Any] = {}
    left = total
    for row in [Row(owed) for owed in owing]:
        part = row.owed.left if left is None else min(row.owed.left, left)
        if part <= 0:
            continue
        initial[row.tick], initial[row.amount] = True, _typed(part, home)
        if row.foreign and part == row.owed.left and row.owed.own_left:
            initial[row.settles] = _typed(row.owed.own_left, row.foreign)
        left = None if left is None else left - part
    return initial


def _typed(minor: int, currency: str) -> str:
    return f"{from_minor(minor, currency):f}"


class PaidBackForm(BoatForm):
    """On which day a helper got the money back."""

    on = DayField(label="Paid back on")


class RepeatForm(BoatForm):
    """That an order comes again, how often, and when next."""

    every_months = NumberField(label="Every how many months", places=0, low=1, high=60)
    next_on = DayField(label="Next on")


class AgainForm(BoatForm):
    """The price of an order that comes again, where it is another one this time."""

    price = MoneyField(label="Price this time", required=False)


class LostForm(BoatForm):
    """On which day a deposit was given up."""

    on = DayField(label="Lost on")
