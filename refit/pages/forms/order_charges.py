"""One charge of an order as typed: freight, duty, tax, handling, card fee or discount, and what it is shared over."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.buying.actions.writing import LIMIT, ChargeFacts
from refit.buying.models import BasisChoice, ChargeKind, Supplier
from refit.calc.money import to_minor
from refit.pages.fields import MoneyField, NumberField, TextField
from refit.pages.forms.order_fields import FIELD, Choices, CurrencyField, digits_of


class ChargeForm(forms.Form):
    """One row. Without ticked lines it is shared over all of them."""

    kind = forms.ChoiceField(choices=ChargeKind.choices, required=False, label="What for")
    amount = MoneyField(required=False, label="Amount")
    basis = forms.ChoiceField(choices=BasisChoice.choices, required=False, label="Shared")
    expected = forms.BooleanField(required=False, label="Expected: the bill has not come yet")
    reclaimable = forms.BooleanField(required=False, label="Will be reclaimed (tax only)")
    in_prices = forms.BooleanField(required=False, label="Already in the prices (tax only)")
    covers = forms.MultipleChoiceField(
        required=False, label="Only for these lines", widget=forms.CheckboxSelectMultiple
    )
    words = TextField(max_length=120, required=False, label="In words")
    currency = CurrencyField(required=False, label="Its own currency")
    rate = NumberField(places=8, low=Decimal("0.000001"), high=9999999, required=False, label="Rate")
    payee = TextField(max_length=80, required=False, label="Billed by another")

    def __init__(
        self,
        choices: Choices,
        currency: str,
        position: int,
        lines: Sequence[tuple[int, str]],
        data: dict[str, Any],
    ) -> None:
        super().__init__(data, prefix=f"charge-{position}")
        self.position, self.order_currency, self.home = position, currency, choices.boat.currency
        if not choices.boat.deducts_tax:
            del self.fields["reclaimable"]
        own = str(self["currency"].value() or "")
        self.fields["amount"].places = digits_of(own, currency)  # type: ignore[attr-defined]
        self.fields["covers"].choices = [(str(place), name) for place, name in lines]  # type: ignore[attr-defined]
        self.fields["payee"].widget.attrs |= {"list": "suppliers", "autocomplete": "off"}
        self.fields[
            "rate"
        ].help_text = f"Of its currency for 1 {self.home}; empty: the European Central Bank's"

        for field in self.fields.values():
            field.template_name = FIELD  # type: ignore[attr-defined]

    @property
    def offers_lines(self) -> bool:
        """Return whether there are lines to tick among."""
        return len(self.fields["covers"].choices) > 1  # type: ignore[attr-defined]

    @property
    def shows_more(self) -> bool:
        """Return whether what is folded away says something."""
        names = ("covers", "words", "currency", "rate", "payee")
        return any(self[name].value() or name in self.errors for name in names)

    @property
    def is_blank(self) -> bool:
        got = self.cleaned_data
        return got.get("amount") is None and not got.get("words") and not got.get("expected")

    @property
    def name(self) -> str:
        """Return what the charge is called on this page."""
        return self.cleaned_data.get("words") or str(ChargeKind(self.cleaned_data["kind"]).label)

    def clean_kind(self) -> str:
        return self.cleaned_data["kind"] or ChargeKind.FREIGHT

    def clean_basis(self) -> str:
        return self.cleaned_data["basis"] or BasisChoice.VALUE

    def clean(self) -> dict[str, Any]:
        got = super().clean() or {}
        if self.errors or self.is_blank:
            return got
        if got["amount"] is None:
            question = "How much, roughly?" if got["expected"] else "How much is it?"
            self.add_error("amount", ValidationError(question, code="nothing"))
        elif to_minor(got["amount"], got["currency"] or self.order_currency) >= LIMIT:
            self.add_error("amount", ValidationError("That is too much for one charge.", code="too_large"))
        for name in ("reclaimable", "in_prices"):
            if got.get(name) and got["kind"] != ChargeKind.TAX:
                self.add_error(name, ValidationError("Only tax can be so; untick it.", code="tax_only"))
        return got

    def facts(self, places: dict[int, int], payee: Supplier | None) -> ChargeFacts | None:
        """Return the charge as the orders' actions take it; `places` are the lines kept, by their row here."""
        got = self.cleaned_data
        covered = [places[int(row)] for row in got["covers"] if int(row) in places]
        if got["covers"] and not covered:
            return None
        return ChargeFacts(
            kind=got["kind"],
            amount=got["amount"],
            words=got["words"],
            currency=got["currency"],
            rate=got["rate"],
            basis=got["basis"],
            reclaimable=got.get("reclaimable", False),
            in_prices=got["in_prices"],
            expected=got["expected"],
            payee=payee,
            lines=tuple(covered) if covered else None,
        )
