"""An order's form as text, row by row: what a page sent, what a draft or a job fills in, and what its buttons do.

Decides how rows are added, taken away, picked and pasted. What the text means is decided by the forms.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.http import QueryDict

from refit.boat.formkeys import new_key
from refit.boat.models import Boat
from refit.buying.models import ChargeKind, Line, Order, PricedBy, RateSource
from refit.buying.reading import Wanted
from refit.calc.money import from_minor, minor_digits, round_half_up
from refit.calc.numbers import format_quantity
from refit.calc.paste import Pasted
from refit.calc.text import fold
from refit.pages.forms.order_charges import ChargeForm
from refit.pages.forms.order_fields import Choices
from refit.pages.forms.order_lines import LineForm
from refit.pages.forms.orders import OrderForm
from refit.stores.models import Part
from refit.work.models import Job

MOST_LINES = 200
MOST_CHARGES = 20
ROW = re.compile(r"(line|charge)-([0-9]{1,4})-([a-z_]+)")
TICKS = ("service", "expected", "reclaimable", "in_prices")

Texts = dict[str, Any]


@dataclass
class Typed:
    """The head, the lines and the charges as text (a charge's `covers` is a list of row numbers as text)."""

    head: Texts
    lines: list[Texts] = field(default_factory=list)
    charges: list[Texts] = field(default_factory=list)

    @classmethod
    def sent(cls, post: QueryDict) -> "Typed":
        """Return what a page sent; rows are numbered anew from 0."""
        head = {name: post[name] for name in OrderForm.base_fields if name in post}
        rows: dict[str, dict[int, Texts]] = {"line": {}, "charge": {}}
        known = {"line": LineForm.base_fields, "charge": ChargeForm.base_fields}
        for key in post:
            found = ROW.fullmatch(key)
            if found and found[3] in known[found[1]]:
                value: Any = post.getlist(key) if found[3] == "covers" else post[key]
                rows[found[1]].setdefault(int(found[2]), {})[found[3]] = value
        order = sorted(rows["line"])
        places = {str(old): str(new) for new, old in enumerate(order)}
        charges = [rows["charge"][number] for number in sorted(rows["charge"])]
        for charge in charges:
            if "covers" in charge:
                charge["covers"] = [places[old] for old in charge["covers"] if old in places]
        return cls(head, [rows["line"][number] for number in order], charges)

    @classmethod
    def fresh(cls, boat: Boat, today: date) -> "Typed":
        """Return an empty form of today in the boat's currency."""
        head = {
            "form_key": new_key(),
            "currency": boat.currency,
            "ordered_on": today.isoformat(),
            "prices": "with",
        }
        return cls(head, [{}])

    @classmethod
    def of_draft(cls, order: Order) -> "Typed":
        """Return a draft as it would have been typed."""
        return _of_draft(cls, order)

    def want(self, job: Job, wanted: Iterable[Wanted]) -> None:
        """Fill in a job and what nobody has bought for it yet."""
        self.head["job"] = f"{job.number} {job.title}"
        rows = [self._row_of_need(one) for one in wanted if one.to_buy > 0]
        self.lines = rows[:MOST_LINES] or self.lines

    def want_part(self, part: Part) -> None:
        """Fill in one part."""
        self.lines = [_row_of_part(part)]

    @staticmethod
    def _row_of_need(wanted: Wanted) -> Texts:
        need = wanted.need
        row = _row_of_part(need.part) if need.part else {"what": need.words}
        return row | {"packs": format_quantity(wanted.to_buy)}

    def match(self, choices: Choices) -> None:
        """Read the parts that the lines name, and take words that are exactly one part's name or number for it."""
        choices.read_parts(str(row.get("part") or "") for row in self.lines)
        loose = [
            row
            for row in self.lines
            if row.get("what") and not row.get("service") and not self._holds(row, choices)
        ]
        found = choices.known_parts(row["what"][:200] for row in loose)
        for row in loose:
            part = found.get(fold(row["what"][:200])[:120])
            if part is not None:
                row |= {
                    name: text
                    for name, text in _row_of_part(part).items()
                    if name != "place" or not row.get(name)
                }

    @staticmethod
    def _holds(row: Texts, choices: Choices) -> bool:
        """Return whether the row's part still counts, or is one that must be refused."""
        sent = str(row.get("part") or "")
        if not sent:
            return False
        part = choices.parts.get(int(sent)) if sent.isascii() and sent.isdecimal() else None
        return part is None or fold(row["what"][:200]) == fold(part.name)

    def take_habits(self, choices: Choices) -> None:
        """Fill in how a known supplier prints prices, unless it was done before or somebody said otherwise."""
        supplier = choices.supplier(str(self.head.get("supplier") or "")[:80])
        if supplier is None or self.head.get("habits") == str(supplier.pk):
            return
        self.head["habits"] = str(supplier.pk)
        is_untouched = (
            self.head.get("currency", "").strip().upper() in ("", choices.boat.currency)
            and self.head.get("prices") != "without"
            and not self.head.get("tax_percent")
        )
        if is_untouched and supplier.currency:
            percent = supplier.tax_percent
            self.head["currency"] = supplier.currency
            self.head["prices"] = "with" if supplier.prices_with_tax else "without"
            self.head["tax_percent"] = "" if percent is None else format_quantity(percent)

    def pick(self, row: int, part: Part) -> None:
        """Put a part into a row."""
        if row < len(self.lines):
            self.lines[row] |= _row_of_part(part)

    def remove_line(self, row: int) -> None:
        """Take a row away; charges over ticked lines keep to those that stay."""
        if not 0 <= row < len(self.lines):
            return
        del self.lines[row]
        for charge in self.charges:
            left = [int(text) for text in charge.get("covers", []) if text.isdecimal() and int(text) != row]
            charge["covers"] = [str(place - (place > row)) for place in left]
        self.lines = self.lines or [{}]

    def remove_charge(self, row: int) -> None:
        """Take a charge away."""
        if 0 <= row < len(self.charges):
            del self.charges[row]

    def paste(self, pasted: Pasted) -> None:
        """Add the pasted rows as lines, in place of those that say nothing."""
        said = [row for row in self.lines if row.get("what") or row.get("each") or row.get("total")]
        # Ticks of lines that stay keep their meaning only if no empty row stood before them.
        for charge in self.charges:
            if len(said) != len(self.lines):
                charge["covers"] = []
        for row in pasted.rows:
            texts = {"what": row.words, "packs": format_quantity(row.quantity)}
            if row.number:
                texts["number"] = row.number
            if row.price is not None:
                texts["total" if row.in_all else "each"] = f"{row.price:f}"
            said.append(texts)
        self.lines = said
        self.head["paste"] = ""

    def match_numbers(self, choices: Choices) -> None:
        """Take the number of a pasted row for its part, or keep it in the words."""
        rows = [row for row in self.lines if row.get("number")]
        found = choices.known_parts(row["number"][:200] for row in rows)
        for row in rows:
            number = row.pop("number")
            part = found.get(fold(number[:200])[:120])
            if part is not None:
                row |= _row_of_part(part)
                self._join(row)
            elif fold(number) not in fold(row["what"]):
                row["what"] = f"{row['what']} ({number})"

    def _join(self, pasted: Texts) -> None:
        """Let a pasted row give its price to the line that already waits for that part."""
        for place, row in enumerate(self.lines):
            if row is pasted:
                return
            if row.get("part") == pasted["part"] and not row.get("each") and not row.get("total"):
                self.lines[place] = row | pasted | {"place": row.get("place") or pasted["place"]}
                self.lines = [other for other in self.lines if other is not pasted]
                return


def head_tax(goods: int, percent: Decimal | None, in_prices: bool) -> int:
    """Return the tax on goods (minor units): on top of prices without it, or held in prices with it."""
    if not percent:
        return 0
    exact = Fraction(percent)
    return round_half_up(Fraction(goods) * exact / (100 + exact if in_prices else 100))


def _row_of_part(part: Part) -> Texts:
    return {
        "part": str(part.pk),
        "what": part.name,
        "place": str(part.usual_place) if part.usual_place and not part.usual_place.retired_at else "",
    }


def _of_draft(kind: type[Typed], order: Order) -> Typed:
    lines = list(order.lines.select_related("part", "job__system", "system", "place").order_by("position"))
    charges = list(order.charges.select_related("payee").prefetch_related("shares").order_by("id"))
    places = {line.pk: str(row) for row, line in enumerate(lines)}
    head = _head_of(order)
    rows = []
    for charge in charges:
        if "tax_amount" not in head and _is_of_the_head(charge, order):
            reckoned = head_tax(sum(line.amount for line in lines), order.tax_percent, order.prices_with_tax)
            is_as_reckoned = charge.amount == reckoned
            head["tax_amount"] = "" if is_as_reckoned else _plain(charge.amount, charge.currency)
            head["tax_reclaimable"] = "on" if charge.reclaimable else ""
            continue
        row: Texts = {
            "kind": charge.kind,
            "amount": _plain(charge.amount, charge.currency),
            "basis": charge.basis,
            "words": charge.words,
            "payee": charge.payee.name if charge.payee else "",
        }
        row |= {name: "on" for name in TICKS if getattr(charge, name, False)}
        if charge.currency != order.currency:
            row["currency"] = charge.currency
            row["rate"] = "" if charge.currency == order.boat.currency else format_quantity(charge.rate)
        if not charge.over_all:
            row["covers"] = [places[share.line_id] for share in charge.shares.all()]
        rows.append(row)
    return kind(head, [line_texts(line, order) for line in lines], rows)


def _head_of(order: Order) -> Texts:
    is_open = order.rate_source in (RateSource.ECB, RateSource.TYPED)
    return {
        "form_key": new_key(),
        "supplier": order.supplier.name,
        "habits": str(order.supplier_id),
        "currency": order.currency,
        "rate": format_quantity(order.rate) if is_open else "",
        "charged": "" if order.charged is None else _plain(order.charged, order.boat.currency),
        "job": f"{order.job.number} {order.job.title}" if order.job else "",
        "ordered_on": order.ordered_on.isoformat() if order.ordered_on else "",
        "expected_on": order.expected_on.isoformat() if order.expected_on else "",
        "reference": order.reference,
        "prices": "with" if order.prices_with_tax else "without",
        "tax_percent": "" if order.tax_percent is None else format_quantity(order.tax_percent),
        "note": order.note,
    }


def _is_of_the_head(charge: Any, order: Order) -> bool:
    """Return whether a charge is the tax that the head of the form writes."""
    return (
        charge.kind == ChargeKind.TAX
        and charge.in_prices == order.prices_with_tax
        and charge.currency == order.currency
        and charge.over_all
        and not (charge.words or charge.expected or charge.payee_id)
        and (charge.reclaimable or not order.prices_with_tax)
    )


def line_texts(line: Line, order: Order) -> Texts:
    """Return a stored line as a person would type it."""
    job = line.job if line.job_id != order.job_id else None
    implied = line.job.system_id if line.job else None
    row: Texts = {
        "part": str(line.part_id or ""),
        "what": line.what,
        "packs": format_quantity(Decimal(line.packs)),
        "pack_size": "" if line.pack_size == 1 else format_quantity(Decimal(line.pack_size)),
        "place": str(line.place) if line.place else "",
        "job": f"{job.number} {job.title}" if job else "",
        "system": "" if line.system_id == implied else str(line.system_id or ""),
        "service": "on" if line.kind == "service" else "",
    }
    if line.amount and line.priced_by == PricedBy.TOTAL:
        row["total"] = _plain(line.amount, order.currency)
    elif line.amount or line.unit_price:
        row["each"] = _price(line.unit_price, order.currency)
    return row


def _plain(minor: int, currency: str) -> str:
    return f"{from_minor(minor, currency):f}"


def _price(price: Decimal, currency: str) -> str:
    """Return a price each with the decimals of its currency, or as many as it needs."""
    short = price.quantize(Decimal(1).scaleb(-minor_digits(currency)))
    return f"{short:f}" if short == price else format_quantity(price)
