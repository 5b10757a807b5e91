"""What is typed of a supplier's terms, and of a price that a supplier asks."""

from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import TextChoices

from refit.boat.models import Boat
from refit.buying.actions.offers import OfferFacts
from refit.buying.actions.orders import add_supplier
from refit.buying.actions.terms import SupplierTerms
from refit.buying.actions.writing import LONGEST_LEAD
from refit.buying.models import Offer, Supplier
from refit.calc.holidays_of import countries
from refit.calc.money import from_minor, minor_digits, to_minor
from refit.calc.numbers import format_quantity, parse_number
from refit.calc.problems import Problem
from refit.pages.fields import BoatForm, DayField, MoneyField, QuantityField, TextField
from refit.pages.forms.order_fields import COMMON


class DaysField(forms.Field):
    """Whole days of waiting; empty where nobody knows."""

    widget = forms.TextInput

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        super().__init__(**kwargs)
        self.widget.attrs.update({"inputmode": "numeric", "autocomplete": "off"})

    def to_python(self, value: Any) -> int | None:
        if value is None or str(value).strip() == "":
            return None
        try:
            days = parse_number(str(value), places=0, low=Decimal(0), high=Decimal(999_999))
        except Problem as problem:
            raise ValidationError(str(problem), code=problem.code) from None
        if days > LONGEST_LEAD:
            raise ValidationError(
                f"{days:,} days cannot be right; at most {LONGEST_LEAD:,}. Leave it empty where nobody knows.",
                code="lead",
            )
        return int(days)


class TermsForm(BoatForm):
    """How long a supplier takes, what carriage costs, until when goods may go back."""

    is_shop = forms.BooleanField(label="A shop we go to", required=False)
    lead_days = DaysField(
        label="Days until it is here", help_text="As a rule. Empty: not known, and you will be asked."
    )
    surface_days = DaysField(label="Days by land or sea", help_text="For goods that may not go by air.")
    in_working_days = forms.BooleanField(label="They count working days", required=False)
    country = forms.ChoiceField(
        label="Whose public holidays they keep", required=False, help_text="Counts for working days only."
    )
    region = TextField(
        label="Part of the country",
        max_length=10,
        required=False,
        help_text="Its short code, where holidays differ within the country.",
    )
    free_freight_from = MoneyField(label="Carriage is free from", required=False)
    usual_freight = MoneyField(label="Carriage below that", required=False)
    return_days = DaysField(label="Goods may go back within, days")
    claim_days = DaysField(label="Damage is claimed within, days")

    def __init__(self, supplier: Supplier, *args: Any, **kwargs: Any) -> None:
        self.currency = supplier.currency or supplier.boat.currency
        if not args:
            kwargs.setdefault("initial", _terms_typed(supplier, self.currency))
        super().__init__(supplier.boat, *args, **kwargs)
        country: Any = self.fields["country"]
        country.choices = [("", "Not known"), *countries()]
        for name in ("free_freight_from", "usual_freight"):
            self.fields[name].label = f"{self.fields[name].label}, {self.currency}"

    def facts(self) -> SupplierTerms:
        """Return what was typed, ready for the action."""
        data = self.cleaned_data
        sums = {
            name: None if data[name] is None else to_minor(data[name], self.currency)
            for name in ("free_freight_from", "usual_freight")
        }
        typed: dict[str, Any] = {name: data[name] for name in SupplierTerms.__dataclass_fields__}
        return SupplierTerms(**typed | sums)


def _terms_typed(supplier: Supplier, currency: str) -> dict[str, Any]:
    found = {name: getattr(supplier, name) for name in SupplierTerms.__dataclass_fields__}
    for name in ("free_freight_from", "usual_freight"):
        found[name] = None if found[name] is None else f"{from_minor(found[name], currency):f}"
    return found


def terms_again(supplier: Supplier) -> str:
    """Return the terms as they are, as an address carries them: the undo of a change."""
    typed = _terms_typed(supplier, supplier.currency or supplier.boat.currency)
    return _carried(typed)


class Taxed(TextChoices):
    WITH = "with", "With tax"
    WITHOUT = "without", "Without tax"


class OfferForm(BoatForm):
    """A supplier's price for a part: who, how much for one as sold, how many are in it, how long it takes."""

    supplier = TextField(label="Supplier", max_length=80)
    price = MoneyField(label="Price for one as sold")
    currency = TextField(label="Currency", max_length=3, required=False)
    pack_size = QuantityField(label="In one as sold", required=False)
    lead_days = DaysField(label="Days until it is here")
    surface_days = DaysField(label="Days by land or sea")
    taxed = forms.ChoiceField(label="The price is", choices=Taxed, required=False)
    seen_on = DayField(label="Seen on", required=False)
    web = TextField(label="Web address", max_length=200, required=False)
    note = TextField(label="Note", max_length=200, required=False)

    def __init__(self, boat: Boat, today: Any, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.today = today
        self.suppliers = list(Supplier.objects.filter(boat=boat))
        self.currencies = COMMON
        self.fields["supplier"].widget.attrs.update({"list": "suppliers", "autocomplete": "off"})
        self.fields["currency"].widget.attrs.update({"list": "currencies", "placeholder": boat.currency})
        self.fields["pack_size"].widget.attrs["placeholder"] = "1"

    def clean_currency(self) -> str:
        currency: str = self.cleaned_data["currency"].upper()
        if currency:
            try:
                minor_digits(currency)
            except ValueError as problem:
                raise ValidationError(str(problem), code="currency") from None
        return currency

    def clean_web(self) -> str:
        web: str = self.cleaned_data["web"]
        if web and not web.lower().startswith(("http://", "https://")):
            if ":" in web.split("/")[0] or " " in web or "." not in web:
                raise ValidationError(f"“{web[:60]}” is not a web address.", code="web")
            web = f"https://{web}"[:200]
        return web

    def facts(self) -> OfferFacts:
        """Return what was typed, the supplier made if new. Belongs in a transaction."""
        data = self.cleaned_data
        supplier = add_supplier(self.boat, data["supplier"])
        with_tax = data["taxed"] == Taxed.WITH if data["taxed"] else supplier.prices_with_tax
        return OfferFacts(
            supplier=supplier,
            price=data["price"],
            currency=data["currency"] or supplier.currency or self.boat.currency,
            pack_size=data["pack_size"] or Decimal(1),
            with_tax=with_tax,
            lead_days=data["lead_days"],
            surface_days=data["surface_days"],
            seen_on=data["seen_on"] or self.today,
            web=data["web"],
            note=data["note"],
        )


def offer_typed(offer: Offer) -> dict[str, Any]:
    """Return an offer as it is typed into the form."""
    return {
        "supplier": offer.supplier.name,
        "price": format_quantity(offer.price),
        "currency": offer.currency,
        "pack_size": format_quantity(offer.pack_size),
        "lead_days": offer.lead_days,
        "surface_days": offer.surface_days,
        "taxed": Taxed.WITH if offer.with_tax else Taxed.WITHOUT,
        "seen_on": offer.seen_on.isoformat(),
        "web": offer.web,
        "note": offer.note,
    }


def offer_again(offer: Offer) -> str:
    """Return an offer as an address carries it: the undo of a change."""
    return _carried(offer_typed(offer))


def _carried(typed: dict[str, Any]) -> str:
    kept = {name: "on" if value is True else value for name, value in typed.items()}
    return urlencode({name: value for name, value in kept.items() if value not in (None, "", False)})
