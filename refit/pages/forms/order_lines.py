"""One line of an order as typed: what, how many, what it costs, which system, where it will lie.

Decides what a row of the form says and what is wrong with it; whether an order may be placed is decided with the
whole order in hand.
"""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import System
from refit.buying.actions.writing import DEAREST, LIMIT, LineFacts
from refit.calc.money import from_minor, minor_digits, to_minor
from refit.calc.numbers import format_quantity
from refit.calc.text import fold
from refit.pages.fields import MoneyField, NumberField, PlaceField, QuantityField, TextField
from refit.pages.forms.order_fields import FIELD, Choices, JobField, SystemField
from refit.stores.models import Part
from refit.work.models import Job

ONE = Decimal(1)


class LineForm(forms.Form):
    """One row; `part` is the part that was picked, and counts only while `what` still says its name."""

    part = forms.CharField(required=False, widget=forms.HiddenInput)
    what = TextField(max_length=200, required=False, label="Part or words")
    packs = QuantityField(required=False, label="How many")
    each = MoneyField(required=False, label="Each")
    total = MoneyField(required=False, label="or in all")
    place = PlaceField(required=False, label="Will lie in")
    pack_size = QuantityField(
        required=False, label="Units in one as sold", help_text="1 coil = 100 m: type 100"
    )
    weight_kg = NumberField(
        places=4, low=Decimal("0.0001"), high=99999, required=False, label="Weight of one unit, kg"
    )
    service = forms.BooleanField(
        required=False,
        label="A service: work, not goods",
        help_text="By the hour: hours as how many, the rate as each.",
    )
    job = JobField(label="For another job")
    system = SystemField(none="as the order", label="System")

    def __init__(self, choices: Choices, currency: str, position: int, data: dict[str, Any]) -> None:
        super().__init__(data, prefix=f"line-{position}")
        self.boat_choices, self.position, self.currency = choices, position, currency
        self.fields["place"].places = choices.places  # type: ignore[attr-defined]
        self.fields["job"].choices = choices  # type: ignore[attr-defined]
        self.fields["system"].offer(choices.systems)  # type: ignore[attr-defined]
        # What stands on a paper in all has the currency's own decimals, so 1,240 can only be a thousand.
        self.fields["total"].places = minor_digits(currency)  # type: ignore[attr-defined]
        self.fields["what"].widget.attrs |= {"autocomplete": "off", "enterkeyhint": "next"}
        self.fields["packs"].widget.attrs["placeholder"] = "1"
        self.chosen: Part | None = None
        for field in self.fields.values():
            field.template_name = FIELD  # type: ignore[attr-defined]

    def clean_job(self) -> Job | None:
        job = self.cleaned_data["job"]
        if isinstance(job, str):
            raise ValidationError(
                f"No job “{job[:40]}”. A new job is made for the whole order; here pick one from the list.",
                code="no_job",
            )
        return job

    def clean(self) -> dict[str, Any]:
        got = super().clean() or {}
        self._choose_part(got)
        if "packs" in got and got["packs"] is None:
            got["packs"] = ONE
        if "pack_size" in got and got["pack_size"] is None:
            got["pack_size"] = ONE
        if not self.errors:
            self._check_what(got)
            self._check_quantity(got)
        if not self.errors:
            self._check_price(got)
        return got

    def _choose_part(self, got: dict[str, Any]) -> None:
        sent = got.get("part") or ""
        if not sent or "what" not in got:
            return
        part = self.boat_choices.parts.get(int(sent)) if sent.isascii() and sent.isdecimal() else None
        if part is None:
            self.add_error(
                "what", ValidationError("No such part on this boat. Choose it again.", code="no_part")
            )
        elif fold(got["what"]) == fold(part.name):
            self.chosen = part

    def _check_what(self, got: dict[str, Any]) -> None:
        if not self.is_blank and not got["what"]:
            self.add_error(
                "what", ValidationError("What is it? Type a part, or say it in words.", code="nothing")
            )
        if self.chosen and got["service"]:
            self.add_error("service", ValidationError("A part is not a service; untick one.", code="service"))

    def _check_quantity(self, got: dict[str, Any]) -> None:
        quantity = got["packs"] * got["pack_size"]
        if quantity >= 10**6:
            self.add_error("packs", ValidationError("A quantity stays below a million.", code="too_large"))
        elif quantity != quantity.quantize(Decimal("0.001")):
            self.add_error(
                "pack_size",
                ValidationError(
                    f"That makes {format_quantity(quantity)}; a quantity has at most three decimals.",
                    code="places",
                ),
            )

    def _check_price(self, got: dict[str, Any]) -> None:
        each, total = got["each"], got["total"]
        if each is None and total is None:
            return
        name = "total" if each is None else "each"
        if (
            each is not None
            and total is not None
            and self._amount(got["packs"] * each) != self._amount(total)
        ):
            right = f"{from_minor(self._amount(got['packs'] * each), self.currency):,f}"
            self.add_error(
                "total",
                ValidationError(
                    f"{format_quantity(got['packs'])} × {each:f} is {right}. Empty one of the two.",
                    code="prices_differ",
                ),
            )
            return
        whole = total if each is None else got["packs"] * each
        one = total / got["packs"] if each is None else each
        if self._amount(whole) >= LIMIT or one >= DEAREST:
            self.add_error(name, ValidationError("That is too much for one line.", code="too_large"))

    def _amount(self, price: Decimal) -> int:
        return to_minor(price, self.currency)

    @property
    def is_blank(self) -> bool:
        """Return whether nothing was said on this row (a quantity or a place alone says nothing)."""
        got = self.cleaned_data
        return not (got.get("what") or got.get("each") is not None or got.get("total") is not None)

    @property
    def has_price(self) -> bool:
        got = self.cleaned_data
        return got.get("each") is not None or got.get("total") is not None

    @property
    def name(self) -> str:
        """Return what the line is, for a sentence."""
        return (self.chosen.name if self.chosen else self.cleaned_data.get("what")) or "this line"

    def amount(self) -> int:
        """Return what the line costs, in minor units of the order's currency."""
        got = self.cleaned_data
        if got["each"] is not None:
            return self._amount(got["packs"] * got["each"])
        return self._amount(got["total"] or Decimal(0))

    def quantity(self) -> Decimal:
        """Return packs × pack size."""
        got = self.cleaned_data
        return Decimal(got["packs"] * got["pack_size"])

    def system_for(self, order_job: Job | None, order_system: System | None) -> System | None:
        """Return the line's system: its own, its own job's, the order's, the order's job's, or the part's."""
        got = self.cleaned_data
        found = got["system"] or (got["job"].system if got["job"] else None)
        found = found or order_system or (order_job.system if order_job else None)
        return found or (self.chosen.system if self.chosen else None)

    def facts(self, order_job: Job | None, order_system: System | None, part: Part | None) -> LineFacts:
        """Return the line as the orders' actions take it; `part` may be one just made of its words."""
        got = self.cleaned_data
        in_all = got["each"] is None
        return LineFacts(
            packs=got["packs"],
            price=(got["total"] if in_all else got["each"]) or Decimal(0),
            part=part,
            words="" if part else got["what"],
            service=got["service"],
            pack_size=got["pack_size"],
            total=in_all and got["total"] is not None,
            job=got["job"],
            system=self.system_for(order_job, order_system),
            place=got["place"],
            weight_kg=got["weight_kg"],
        )
