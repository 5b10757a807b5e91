"""What is known of a supplier."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.calc.money import minor_digits
from refit.pages.fields import BoatForm, NumberField, TextField

TAX = [("with", "With tax"), ("without", "Without tax")]


class SupplierForm(BoatForm):
    """Name, currency, how they print prices, web address, note."""

    name = TextField(label="Name", max_length=80)
    currency = TextField(
        label="Currency", max_length=3, required=False, help_text="Three letters, such as EUR."
    )
    prices = forms.ChoiceField(label="Their prices are printed", choices=TAX, widget=forms.RadioSelect)
    tax_percent = NumberField(label="Tax, per cent", places=2, low=0, high=100, required=False)
    web = TextField(label="Web address", max_length=200, required=False)
    note = TextField(
        label="Note",
        max_length=300,
        required=False,
        help_text="Account number, who to ask for, how long they take.",
    )

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
        if not web or web.lower().startswith(("http://", "https://")):
            return web
        if ":" in web.split("/")[0] or " " in web or "." not in web:
            raise ValidationError(
                f"“{web[:60]}” is not a web address; write it like shop.example.", code="web"
            )
        return f"https://{web}"[:200]

    def facts(self) -> dict[str, Any]:
        """Return what was typed, ready for the action."""
        data = self.cleaned_data
        return {
            "name": data["name"],
            "currency": data["currency"],
            "prices_with_tax": data["prices"] == "with",
            "tax_percent": data["tax_percent"],
            "web": data["web"],
            "note": data["note"],
        }
