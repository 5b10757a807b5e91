"""The head of an order as typed: supplier, job, date, currency and rate, how the prices are printed."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import System
from refit.buying.models import Means, Order, RateSource, Supplier
from refit.calc.money import minor_digits
from refit.pages.fields import BoatForm, DayField, MoneyField, NumberField, TextField
from refit.pages.forms.order_fields import FIELD, Choices, CurrencyField, JobField, SystemField
from refit.work.models import Job

PRICES = [("with", "with the tax in them"), ("without", "without tax")]


class OrderForm(BoatForm):
    """The head. Nothing is asked for here that only an order about to be placed must have."""

    supplier = TextField(max_length=80, required=False, label="Supplier")
    currency = CurrencyField(required=False, label="Currency")
    rate = NumberField(places=8, low=Decimal("0.000001"), high=9999999, required=False, label="Rate")
    charged = MoneyField(required=False, label="What the card was charged")
    job = JobField(label="For job")
    system = SystemField(none="as the job", label="System")
    ordered_on = DayField(required=False, label="Date")
    expected_on = DayField(required=False, label="Expected on")
    reference = TextField(max_length=60, required=False, label="Their reference")
    prices = forms.ChoiceField(choices=PRICES, required=False, label="Prices are")
    tax_percent = NumberField(places=2, low=0, high=100, required=False, label="Tax, %")
    tax_amount = MoneyField(required=False, label="Tax on the paper")
    tax_reclaimable = forms.BooleanField(required=False, label="Tax will be reclaimed: it is no cost")
    note = TextField(max_length=500, lines=True, required=False, label="Note")
    straight_to_job = forms.BooleanField(required=False, label="Straight to the job, not into a locker")
    means = forms.ChoiceField(choices=Means.choices, required=False, label="Paid by")
    paste = TextField(max_length=50_000, lines=True, required=False, label="Rows to paste")
    # Whose habits fill currency and tax: so that they are filled once, and what a person changed stays.
    habits = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, choices: Choices, *args: Any, **kwargs: Any) -> None:
        super().__init__(choices.boat, *args, **kwargs)
        self.choices = choices
        if not choices.boat.deducts_tax:
            del self.fields["tax_reclaimable"]
        home = choices.boat.currency
        self.fields["job"].choices = choices  # type: ignore[attr-defined]
        self.fields["system"].offer(choices.systems)  # type: ignore[attr-defined]
        self.fields["supplier"].widget.attrs |= {"list": "suppliers", "autocomplete": "off"}
        self.fields["job"].help_text = "Number or title; a new title makes a new job"
        self.fields["rate"].label = f"Rate to 1 {home}"
        self.fields["charged"].places = minor_digits(home)  # type: ignore[attr-defined]
        self.fields["charged"].help_text = "Wins over any rate"
        self.fields["rate"].help_text = "Empty: the European Central Bank's"
        self.fields["paste"].widget.attrs |= {"class": "paste", "rows": 5, "spellcheck": "false"}
        self.fields["note"].widget.attrs["rows"] = 2
        for name in (
            "supplier",
            "currency",
            "job",
            "system",
            "ordered_on",
            "prices",
            "tax_percent",
            "means",
            "paste",
        ):
            self.fields[name].template_name = FIELD  # type: ignore[attr-defined]

    def clean_currency(self) -> str:
        return self.cleaned_data["currency"] or self.boat.currency

    def clean_means(self) -> str:
        return self.cleaned_data["means"] or Means.CARD

    def clean(self) -> dict[str, Any]:
        got = super().clean() or {}
        if isinstance(got.get("job"), str) and "system" in got and got["system"] is None:
            self.add_error(
                "system",
                ValidationError(
                    f"There is no job “{got['job'][:60]}” yet. Say which system it belongs to, and it is made.",
                    code="no_system",
                ),
            )
        tax_known = got.get("tax_percent") is not None or got.get("tax_amount") is not None
        if (
            got.get("tax_reclaimable")
            and not tax_known
            and not {"tax_percent", "tax_amount"} & set(self.errors)
        ):
            self.add_error(
                "tax_percent", ValidationError("How much tax is there to reclaim?", code="nothing")
            )
        return got

    @property
    def valid_currency(self) -> str:
        """Return the currency to read amounts in, also while what was typed is not one."""
        self.errors  # noqa: B018  (reading the form fills cleaned_data)
        return self.cleaned_data.get("currency") or self.boat.currency

    @property
    def job_chosen(self) -> Job | None:
        job = self.cleaned_data.get("job")
        return job if isinstance(job, Job) else None

    @property
    def new_job(self) -> str:
        job = self.cleaned_data.get("job")
        return job if isinstance(job, str) else ""

    @property
    def system_chosen(self) -> System | None:
        return self.cleaned_data.get("system")

    @property
    def supplier_known(self) -> Supplier | None:
        return self.choices.supplier(self.cleaned_data.get("supplier") or "")

    @property
    def prices_with_tax(self) -> bool:
        return self.cleaned_data.get("prices") != "without"

    def rate_for(self, order: Order | None, ordered_on: date | None) -> Decimal | None:
        """Return the rate to write, or None to look it up.

        A draft shows its stored rate in the box. It is looked up anew only if the box was emptied, or if it is for
        another currency, or was published for another day.
        """
        rate = self.cleaned_data["rate"]
        if order is None or rate is None or rate != order.rate:
            return rate
        if order.currency != self.cleaned_data["currency"]:
            return None
        is_published = order.rate_source == RateSource.ECB
        return None if is_published and order.ordered_on != ordered_on else rate
