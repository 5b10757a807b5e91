"""What an order on the screen comes to, and what is known of the things on it: rows ready for the page.

Keeps nothing: a new order is written, read and taken back in one short transaction.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from refit.boat.models import Boat, Location
from refit.buying.actions.orders import preview
from refit.buying.models import Charge, Line, Order, RateSource
from refit.buying.reading import Known, known
from refit.calc.money import from_minor, round_half_up
from refit.calc.numbers import format_quantity
from refit.pages.forms.order_sheet import Sheet
from refit.stores.models import Kept, Part
from refit.stores.reading import parts_named

MOST_LOOKED_UP = 12  # lines in words for which the parts are searched; each costs a query


@dataclass(frozen=True)
class Sum:
    """One row of the sums: what, and how much in the boat's currency."""

    words: str
    home: int
    note: str = ""


@dataclass
class Totals:
    """The sums of an order in the boat's currency; or, in words, why there are none yet."""

    rows: list[Sum] = field(default_factory=list)
    lines: list[Sum] = field(default_factory=list)
    landed: int | None = None
    notes: list[str] = field(default_factory=list)
    weigh: list[int] = field(default_factory=list)


def totals_of(sheet: Sheet, by: Any) -> Totals:
    """Return what the order on the sheet comes to, leaving out what cannot be read yet."""
    totals = Totals(weigh=[line.position for line in sheet.weightless()] if not sheet.head.errors else [])
    priced = [line for line in sheet.said if line.has_price]
    wrong = sum(1 for line in sheet.lines if line.errors) + sum(
        1 for charge in sheet.charges if charge.errors
    )
    if not priced or sheet.head.errors:
        totals.notes.append(
            "Put right what is marked to see the cost."
            if wrong or sheet.head.errors
            else "Type a price to see the cost."
        )
        return totals
    if totals.weigh:
        which = ", ".join(line.name for line in sheet.weightless())
        totals.notes.append(f"Sharing by weight needs the weight of {which}. Type it on the line.")
        return totals
    try:
        with transaction.atomic():
            made = sheet.make(by)
            found = preview(sheet.choices.boat, made.facts, by=by, today=sheet.today)
            transaction.set_rollback(True)
    except ValidationError as refused:
        totals.notes += refused.messages
        return totals
    names = [line.name for line in made.lines]
    _add_up(totals, found["order"], found["lines"], found["charges"], names)
    for row, form in enumerate(made.lines):
        if not form.has_price:
            totals.lines[row] = replace(totals.lines[row], note="no price yet")
    if sheet.order is not None and made.facts.rate == sheet.order.rate:
        totals.rows[0] = replace(totals.rows[0], note=rate_words(sheet.order))
    if wrong:
        totals.notes.append("Without what is marked as wrong.")
    unpriced = len(sheet.said) - len(priced)
    if unpriced:
        totals.notes.append(
            f"{unpriced} line has no price yet." if unpriced == 1 else f"{unpriced} lines have no price yet."
        )
    _say_what_is_new(sheet, totals)
    return totals


def totals_of_stored(order: Order) -> Totals:
    """Return what a stored draft comes to, as it was kept."""
    totals = Totals()
    lines = list(order.lines.select_related("part").order_by("position"))
    _add_up(totals, order, lines, list(order.charges.order_by("id")), [line.what for line in lines])
    return totals


def _add_up(
    totals: Totals, order: Order, lines: Sequence[Line], charges: Sequence[Charge], names: Sequence[str]
) -> None:
    home = order.boat.currency
    bought = sum(line.amount for line in lines)
    goods = "Goods"
    if order.currency != home:
        goods = f"Goods, {from_minor(bought, order.currency):,f} {order.currency} at {short_rate(order.rate)}"
    totals.rows.append(Sum(goods, order.goods, rate_words(order)))
    for charge in charges:
        own = (
            ""
            if charge.currency == home
            else f", {from_minor(charge.amount, charge.currency):,f} {charge.currency}"
        )
        marks = [
            words
            for words, is_so in (
                ("expected", charge.expected),
                ("reclaimed, no cost", charge.reclaimable),
                ("already in the prices", charge.in_prices and not charge.reclaimable),
            )
            if is_so
        ]
        totals.rows.append(Sum(f"{charge}{own}", charge.effect, ", ".join(marks)))
    for line, name in zip(lines, names, strict=True):
        totals.lines.append(Sum(name, line.landed, _each(line, home)))
    totals.landed = order.landed


def _each(line: Line, home: str) -> str:
    quantity = Decimal(line.quantity)
    if quantity == 1:
        return ""
    one = round_half_up(Decimal(line.landed) / quantity)
    unit = "each" if line.unit == "each" else f"for 1 {line.get_unit_display()}"
    return f"{format_quantity(quantity)}, {from_minor(one, home):,f} {unit}"


def rate_words(order: Order) -> str:
    """Return where the rate of an order comes from, in words."""
    if order.rate_source == RateSource.ECB and order.rate_on:
        return f"ECB {short_rate(order.rate)} on {order.rate_on:%-d %b %Y}"
    if order.rate_source == RateSource.TYPED:
        return "rate as typed"
    return "from what the card was charged" if order.rate_source == RateSource.CHARGED else ""


def short_rate(rate: Decimal) -> str:
    """Return a rate with six figures, enough to recognise it by."""
    return format_quantity(Decimal(f"{rate:.6g}"))


def _say_what_is_new(sheet: Sheet, totals: Totals) -> None:
    name = sheet.head.cleaned_data["supplier"]
    if name and sheet.head.supplier_known is None:
        totals.notes.append(f"{name} is a new supplier.")
    if sheet.head.new_job:
        totals.notes.append(f"“{sheet.head.new_job}” becomes a new job.")


# --- what is known of a thing before it is bought again ---------------------------------------------------------


@dataclass(frozen=True)
class Lying:
    amount: str
    place: Location
    note: str = ""


@dataclass(frozen=True)
class Facts:
    """What is known of one part, in words."""

    part: Part
    lying: list[Lying]
    coming: list[str]
    wanted: list[str]
    choose: dict[str, str]

    @property
    def json(self) -> str:
        """Return what choosing this part fills in."""
        return json.dumps(self.choose)

    @property
    def is_owned(self) -> bool:
        return bool(self.lying or self.coming)


def facts_of(boat: Boat, parts: Iterable[Part], today: date) -> list[Facts]:
    """Return what is aboard and where, on order and wanted, for each of these parts."""
    rows = list(parts)
    usual = Location.objects.in_use().in_bulk({part.usual_place_id for part in rows if part.usual_place_id})
    return [_facts(one, usual, today) for one in known(boat, rows, today)]


def facts_for(sheet: Sheet) -> dict[int, list[Facts]]:
    """Return, for each line of a sheet, what is known of its part, or of the parts that its words may mean."""
    boat = sheet.choices.boat
    meant: dict[int, list[Part]] = {}
    looked_up = 0
    for line in sheet.lines:
        words = str(line["what"].value() or "")[:200]
        if line.errors.get("what") or not words:
            continue
        if line.chosen:
            meant[line.position] = [line.chosen]
        elif not line["service"].value() and looked_up < MOST_LOOKED_UP:
            looked_up += 1
            meant[line.position] = parts_named(boat, words)
    every = {part.pk: part for parts in meant.values() for part in parts}
    found = {facts.part.pk: facts for facts in facts_of(boat, every.values(), sheet.today)}
    return {row: [found[part.pk] for part in parts] for row, parts in meant.items()}


def _facts(one: Known, usual: dict[int, Location], today: date) -> Facts:
    part = one.part
    unit = "" if part.unit == "each" else f" {part.get_unit_display()}"
    lying = []
    for holding in one.where.holdings:
        amount = (
            format_quantity(Decimal(holding.quantity)) + unit
            if part.kept == Kept.COUNTED
            else holding.get_level_display()
        )
        is_old = holding.lot and holding.lot.expires_on and holding.lot.expires_on < today
        lying.append(Lying(amount, holding.place, "out of date" if is_old else ""))
    coming = []
    for line in one.coming:
        due = f", due {line.order.expected_on:%-d %b}" if line.order.expected_on else ""
        coming.append(f"{format_quantity(line.open_quantity)}{unit} on order {line.order.number}{due}")
    wanted = [f"Job {job.number} wants {format_quantity(quantity)}{unit}" for job, quantity in one.wanted_by]
    choose = {"part": str(part.pk), "what": part.name}
    if part.usual_place_id in usual:
        choose["place"] = str(usual[part.usual_place_id])
    return Facts(part, lying, coming, wanted, choose)
