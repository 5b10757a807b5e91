"""An order's form as a whole: what is wrong with it, what it must have to be kept or placed, and the facts it makes.

Decides what every order needs (a supplier, a line) and what a placed one needs besides (a price and a system on every
line). What it comes to is decided by the buying floor.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.forms import Form

from refit.boat.models import System
from refit.buying.actions.orders import add_supplier
from refit.buying.actions.writing import ChargeFacts, LineFacts, OrderFacts, tax_on
from refit.buying.models import BasisChoice, ChargeKind, Order
from refit.buying.rates import published
from refit.calc.money import from_minor
from refit.pages.forms.order_charges import ChargeForm
from refit.pages.forms.order_fields import Choices
from refit.pages.forms.order_lines import LineForm
from refit.pages.forms.order_typed import MOST_CHARGES, MOST_LINES, Typed, head_tax
from refit.pages.forms.orders import OrderForm
from refit.stores.actions.parts import add_part
from refit.stores.models import Part
from refit.work.actions import add_job


@dataclass(frozen=True)
class Made:
    """The facts of an order, with the forms that its lines and charges came from, in the same order."""

    facts: OrderFacts
    lines: list[LineForm]
    charges: list[ChargeForm | None]  # None: the tax that the head of the form writes


@dataclass(frozen=True)
class Row:
    """One line as the page shows it."""

    form: LineForm
    known: list[Any]
    is_alone: bool
    is_open: bool

    @property
    def summary(self) -> str:
        """Return what a closed line says of itself."""
        what = str(self.form["what"].value() or "").strip()[:80]
        packs = str(self.form["packs"].value() or "1").strip()[:12]
        return f"{packs} × {what}" if what else "A new line"

    @property
    def price(self) -> str:
        """Return the line in all, in the order's currency; nothing while it cannot be read."""
        if self.form.errors or not self.form.has_price:
            return ""
        return f"{from_minor(self.form.amount(), self.form.currency):,f}"

    @property
    def asks_system(self) -> bool:
        return "system" in self.form.errors

    @property
    def shows_weight(self) -> bool:
        return bool(self.form["weight_kg"].value()) or "weight_kg" in self.form.errors

    @property
    def shows_more(self) -> bool:
        names = ("pack_size", "service", "job", "system")
        return any(self.form[name].value() for name in names) or any(
            name in self.form.errors for name in names if name != "system"
        )


@dataclass(frozen=True)
class Problem:
    """One thing to put right: the box it is about, and the sentence."""

    id: str
    words: str


class Sheet:
    """The forms of one order. Reading it finds what is malformed; what is missing is asked for separately."""

    def __init__(self, choices: Choices, typed: Typed, today: date, order: Order | None = None) -> None:
        self.choices, self.typed, self.today, self.order = choices, typed, today, order
        self.head = OrderForm(choices, typed.head)
        self.currency = self.head.valid_currency
        self.lines = [
            LineForm(choices, self.currency, row, _prefixed("line", row, texts))
            for row, texts in enumerate(typed.lines[:MOST_LINES])
        ]
        names = [(line.position, f"{line.position + 1}  {line.name}") for line in self.lines if _reads(line)]
        self.charges = [
            ChargeForm(choices, self.currency, row, names, _prefixed("charge", row, texts))
            for row, texts in enumerate(typed.charges[:MOST_CHARGES])
        ]
        if len(typed.lines) > MOST_LINES or len(typed.charges) > MOST_CHARGES:
            self.head.add_error(
                None,
                ValidationError(
                    f"At most {MOST_LINES} lines and {MOST_CHARGES} charges in one order; "
                    "write the rest as another.",
                    code="too_many",
                ),
            )

    @property
    def forms(self) -> Iterator[Form]:
        yield self.head
        yield from self.lines
        yield from self.charges

    @property
    def is_right(self) -> bool:
        """Return whether nothing on the page is malformed (or was found missing)."""
        return not any([form.errors for form in self.forms])

    @property
    def said(self) -> list[LineForm]:
        """Return the lines that say something and can be read."""
        return [line for line in self.lines if not line.errors and not line.is_blank]

    @property
    def ordered_on(self) -> date | None:
        return self.head.cleaned_data.get("ordered_on")

    def rows(self, known: dict[int, Any], focus: int) -> list["Row"]:
        """Return the lines as the page shows them: the one in hand open, those that are complete closed."""
        last = len(self.lines) - 1
        return [
            Row(
                line,
                known.get(line.position, []),
                is_alone=last == 0,
                is_open=bool(line.errors)
                or line.position == focus
                or (focus < 0 and line is self._first_unfinished()),
            )
            for line in self.lines
        ]

    def problems(self) -> list[Problem]:
        """Return all that is wrong anywhere on the form, in the order of the page."""
        found = []
        for form in self.forms:
            for name, errors in form.errors.items():
                where = "" if name == "__all__" else str(form[name].id_for_label or form[name].auto_id)
                label = "" if name == "__all__" else f"{self._called(form)}{form.fields[name].label}: "
                found += [Problem(where, f"{label}{error}") for error in errors]
        return found

    def _called(self, form: Form) -> str:
        if isinstance(form, LineForm) and len(self.lines) > 1:
            return f"Line {form.position + 1}, "
        return f"Charge {form.position + 1}, " if isinstance(form, ChargeForm) else ""

    def _first_unfinished(self) -> LineForm | None:
        return next((line for line in self.lines if not line.errors and not line.has_price), None)

    def system_of(self, line: LineForm) -> System | None:
        return line.system_for(self.head.job_chosen, self.head.system_chosen)

    # --- what is missing -------------------------------------------------------------------------------------

    def ask_to_keep(self) -> None:
        """Add to the forms what an order misses that is only to be kept."""
        if not self.head.errors and not self.head.cleaned_data["supplier"]:
            self.head.add_error("supplier", ValidationError("Who sells it? Type a name.", code="nothing"))
        if self.lines and all(not line.errors and line.is_blank for line in self.lines):
            self.lines[0].add_error(
                "what", ValidationError("What is ordered? Type it here.", code="no_lines")
            )
        self._ask_for_weights()
        self._ask_for_rates()

    def ask_to_order(self) -> None:
        """Add to the forms what an order misses that is to be placed."""
        self.ask_to_keep()
        for line in self.said:
            if not line.has_price:
                line.add_error(
                    "each", ValidationError("What does it cost? Type 0 for nothing.", code="no_price")
                )
            if self.system_of(line) is None and not {"job", "system"} & set(self.head.errors):
                line.add_error(
                    "system",
                    ValidationError(
                        f"Which system is {line.name} for? Every line has one before it is ordered.",
                        code="no_system",
                    ),
                )

    def weightless(self) -> list[LineForm]:
        """Return the lines whose weight a charge by weight needs and nobody has said."""
        found = []
        for charge in self.charges:
            if charge.errors or charge.is_blank or charge.cleaned_data["basis"] != BasisChoice.WEIGHT:
                continue
            rows = charge.cleaned_data["covers"]
            for line in self.said:
                has_weight = line.cleaned_data["weight_kg"] or (
                    line.chosen and line.chosen.weight_kg is not None
                )
                is_covered = not rows or str(line.position) in rows
                if is_covered and not has_weight and not line.cleaned_data["service"] and line not in found:
                    found.append(line)
        return found

    def _ask_for_weights(self) -> None:
        for line in self.weightless():
            sentence = f"What does one weigh? A charge is shared by weight, and {line.name} has none."
            line.add_error("weight_kg", ValidationError(sentence, code="missing_weight"))

    def _ask_for_rates(self) -> None:
        day = self.ordered_on or self.today
        home = self.choices.boat.currency
        for charge in self.charges:
            code = charge.cleaned_data.get("currency")
            if charge.errors or charge.is_blank or not code or code in (self.currency, home):
                continue
            if charge.cleaned_data["rate"] is None and published(code, home, day) is None:
                sentence = f"No {code} rate was published within 7 days before {day:%-d %b %Y}. Type it."
                charge.add_error("rate", ValidationError(sentence, code="no_rate"))

    # --- what it says ----------------------------------------------------------------------------------------

    def make(self, by: Any) -> Made:
        """Make the supplier, job and parts that are new, and return the facts. Belongs in a transaction."""
        got, boat = self.head.cleaned_data, self.choices.boat
        supplier = add_supplier(boat, got["supplier"] or "No supplier yet")
        job = self.head.job_chosen
        if self.head.new_job:
            job = add_job(boat, title=self.head.new_job, system=got["system"], by=by)
        lines = self.said
        places = {line.position: row for row, line in enumerate(lines)}
        facts = [line.facts(job, got["system"], self._part_of(line)) for line in lines]
        charges: list[tuple[ChargeForm | None, ChargeFacts]] = []
        tax = self._head_tax(facts, supplier)
        if tax is not None:
            charges.append((None, tax))
        for form in self.charges:
            if form.errors or form.is_blank:
                continue
            payee = form.cleaned_data["payee"]
            charge = form.facts(places, add_supplier(boat, payee) if payee else None)
            if charge is not None:
                charges.append((form, charge))
        whole = OrderFacts(
            supplier=supplier,
            currency=got["currency"],
            lines=facts,
            charges=[charge for _, charge in charges],
            ordered_on=got["ordered_on"],
            expected_on=got["expected_on"],
            reference=got["reference"],
            rate=self.head.rate_for(self.order, got["ordered_on"]),
            charged=got["charged"],
            prices_with_tax=self.head.prices_with_tax,
            tax_percent=got["tax_percent"],
            job=job,
            note=got["note"],
        )
        return Made(whole, lines, [form for form, _ in charges])

    def _part_of(self, line: LineForm) -> Part | None:
        """Return the line's part. Words whose weight was said become one, since only a part keeps a weight."""
        got = line.cleaned_data
        if line.chosen or got["service"] or got["weight_kg"] is None:
            return line.chosen
        return add_part(
            self.choices.boat,
            name=line.name[:120],
            weight_kg=got["weight_kg"],
            system=self.system_of(line),
        )

    def _head_tax(self, lines: list[LineFacts], supplier: Any) -> ChargeFacts | None:
        """Return the tax on prices without it; or, to be reclaimed, that in prices with it."""
        got = self.head.cleaned_data
        in_prices = self.head.prices_with_tax
        reclaimable = got.get("tax_reclaimable", False)
        if in_prices and not reclaimable:
            return None
        amount: Decimal | None = got["tax_amount"]
        if amount is None:
            percent = got["tax_percent"]
            if in_prices:
                goods = sum(line.amount() for line in self.said)
                minor = head_tax(goods, percent, in_prices)
            else:
                minor = tax_on(
                    OrderFacts(supplier, got["currency"], lines, prices_with_tax=False, tax_percent=percent)
                )
            amount = from_minor(minor, got["currency"])
        if not amount:
            return None
        return ChargeFacts(
            kind=ChargeKind.TAX,
            amount=amount,
            reclaimable=reclaimable,
            in_prices=in_prices,
        )


def _prefixed(kind: str, row: int, texts: dict[str, Any]) -> dict[str, Any]:
    return {f"{kind}-{row}-{name}": value for name, value in texts.items()}


def _reads(line: LineForm) -> bool:
    return not line.errors and not line.is_blank
