"""A bill as typed: the real one for an expected charge, a charge entered later, a charge corrected.

Parses; which lines bear it, and what is refused of an amount, rate or day, is decided in `buying.actions.charges`.
"""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat
from refit.buying.actions.charges import Bill
from refit.buying.models import BasisChoice, Charge, ChargeKind, Line, Supplier
from refit.calc.money import from_minor
from refit.calc.numbers import format_quantity
from refit.calc.text import fold
from refit.pages.fields import BoatForm, DayField, MoneyField, NumberField, TextField
from refit.pages.forms.order_fields import COMMON, CurrencyField, digits_of

BIG = Decimal(9999999)


class BillForm(BoatForm):
    """What stands on the bill that came for an expected charge."""

    amount = MoneyField(label="Amount on the bill")
    currency = CurrencyField(required=False, label="Currency")
    rate = NumberField(places=8, low=Decimal("0.000001"), high=BIG, required=False, label="Rate")
    payee = TextField(max_length=80, required=False, label="Paid to")
    billed_on = DayField(required=False, label="Date of the bill")
    reference = TextField(max_length=60, required=False, label="Number on the bill")

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.suppliers = list(Supplier.objects.filter(boat=boat))
        self.currencies = COMMON
        home = boat.currency
        self.fields["amount"].places = digits_of(str(self["currency"].value() or ""), home)  # type: ignore[attr-defined]
        self.fields["rate"].label = f"Rate, to 1 {home}"
        self.fields[
            "rate"
        ].help_text = f"Only if not in {home}; empty: the European Central Bank's of that day"
        self.fields["payee"].widget.attrs |= {"list": "suppliers", "autocomplete": "off"}
        self.fields["payee"].help_text = "Often the courier; empty: who sold the goods"

    def clean_currency(self) -> str:
        return self.cleaned_data["currency"] or self.boat.currency

    @property
    def payee_name(self) -> str:
        return str(self.cleaned_data["payee"])

    @property
    def known_payee(self) -> Supplier | None:
        """Return the supplier of the name typed, whatever its case and accents."""
        wanted = fold(self.payee_name)
        return next((row for row in self.suppliers if row.folded == wanted), None)

    def bill(self, payee: Supplier | None, charge: Charge) -> Bill:
        """Return the bill of a charge that was expected; what it is for stays as it was."""
        return Bill(
            kind=charge.kind,
            words=charge.words,
            basis=charge.basis,
            reclaimable=charge.reclaimable,
            payee=payee,
            **self._money(),
        )

    def _money(self) -> dict[str, Any]:
        names = ("amount", "currency", "rate", "billed_on", "reference")
        return {name: self.cleaned_data[name] for name in names}


class WholeBillForm(BillForm):
    """A charge in full: what for, how shared, and whether its bill has come."""

    kind = forms.ChoiceField(choices=ChargeKind.choices, label="What for")
    words = TextField(max_length=120, required=False, label="In words")
    basis = forms.ChoiceField(choices=BasisChoice.choices, label="Shared over its lines")
    reclaimable = forms.BooleanField(
        required=False, label="We get this tax back as a business: it is no cost of ours"
    )
    expected = forms.BooleanField(required=False, label="The bill has not come yet; this is what we expect")

    def __init__(self, boat: Boat, *args: Any, charge: Charge | None = None, **kwargs: Any) -> None:
        if charge is not None:
            kwargs["initial"] = facts_of(charge)
        super().__init__(boat, *args, **kwargs)
        self.charge = charge
        self.fields["amount"].label = "Amount"  # type: ignore[index]
        if not boat.deducts_tax and not (charge is not None and charge.reclaimable):
            del self.fields["reclaimable"]

    def clean(self) -> dict[str, Any]:
        got = super().clean() or {}
        if got.get("reclaimable") and got.get("kind") != ChargeKind.TAX:
            self.add_error(
                "reclaimable", ValidationError("Only a tax can be so; untick it.", code="tax_only")
            )
        if self.charge is not None and self.charge.in_prices and got.get("kind") != ChargeKind.TAX:
            self.add_error(
                "kind", ValidationError("This tax is in the prices already; it stays a tax.", code="tax_only")
            )
        if got.get("expected") and got.get("billed_on"):
            self.add_error(
                "billed_on", ValidationError("A bill that has not come has no date yet.", code="not_come")
            )
        return got

    def whole(self, payee: Supplier | None) -> Bill:
        """Return the bill as typed."""
        got = self.cleaned_data
        names = ("kind", "words", "basis", "expected")
        reclaimable = got.get("reclaimable", False)
        facts = {name: got[name] for name in names}
        return Bill(payee=payee, reclaimable=reclaimable, **facts, **self._money())


class AddBillForm(WholeBillForm):
    """A bill that came for lines of one order, or of several that came in one parcel."""

    line = forms.MultipleChoiceField(label="Lines", widget=forms.CheckboxSelectMultiple)

    def __init__(self, boat: Boat, lines: Sequence[Line], *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.by_pk = {str(line.pk): line for line in lines}
        field = self.fields["line"]
        field.choices = [(pk, line.what) for pk, line in self.by_pk.items()]  # type: ignore[attr-defined]
        field.error_messages |= {
            "required": "Tick the lines that this bill is for.",
            "invalid_choice": "Tick lines of the orders shown here.",
        }

    @property
    def ticked(self) -> set[str]:
        """Return the lines that stand ticked, as the page shows them."""
        value = self["line"].value() or []
        return {str(pk) for pk in value} if isinstance(value, (list, tuple, set)) else set()

    @property
    def lines(self) -> list[Line]:
        """Return the lines that were ticked."""
        return [self.by_pk[pk] for pk in self.cleaned_data["line"]]


def facts_of(charge: Charge) -> dict[str, Any]:
    """Return what a form begins with when a charge is corrected."""
    foreign = charge.currency != charge.boat.currency
    return {
        "kind": charge.kind,
        "words": charge.words,
        "amount": f"{from_minor(charge.amount, charge.currency):f}",
        "currency": charge.currency,
        "rate": format_quantity(charge.rate) if foreign else "",
        "payee": charge.payee.name if charge.payee else "",
        "billed_on": charge.billed_on,
        "reference": charge.reference,
        "basis": charge.basis,
        "reclaimable": charge.reclaimable,
        "expected": charge.expected,
    }
