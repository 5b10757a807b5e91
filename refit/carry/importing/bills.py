"""Rows of a sheet of orders, put together into bills, with what each comes to.

Decides which rows make one order, and what is missing or does not add up. Does not look at what the boat has already.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from refit.buying.rates import published
from refit.calc.landed import goods_in_home
from refit.calc.money import minor_digits, to_minor
from refit.calc.numbers import format_quantity
from refit.calc.text import fold
from refit.carry.importing import ordered
from refit.carry.importing.cells import ARRIVED, CANCELLED, DRAFT, HOME_MONEY, PART_ARRIVED, Line, as_day

CHARGES = ("freight", "duty", "tax", "handling", "discount")
RATE_PLACES = Decimal("0.00000001")
DEAREST = Decimal(10) ** 10
Key = tuple[Any, ...]


@dataclass
class Bill:
    """The rows of one order, with what they come to."""

    rows: list[Line]
    draft: bool = False
    currency: str = ""
    rate: Decimal | None = None
    prices: list[tuple[Decimal, bool]] = field(default_factory=list)  # price, in all
    amounts: list[int] = field(default_factory=list)
    charges: list[tuple[str, Decimal, str, tuple[int, ...] | None]] = field(default_factory=list)
    bases: dict[int, str] = field(default_factory=dict)  # of charges that do not go by value, by position
    expected: frozenset[str] = frozenset()  # kinds of charges of which no bill had come
    off: list[Line] = field(default_factory=list)  # rows below nil: money off

    @property
    def first(self) -> Line:
        return self.rows[0]

    @property
    def date(self) -> date | None:
        return self.first.get("date")

    @property
    def is_right(self) -> bool:
        return not any(row.faults for row in (*self.rows, *self.off))


def sorted_out(done: Any, lines: Sequence[Line], count: Any) -> list[Line]:
    """Fill down what only the first row of an order says; leave out what was cancelled."""
    kept: list[Line] = []
    above: dict[str, Any] = {}
    for line in lines:
        headed = any(line.get(key) for key in ("supplier", "date", "reference", "order"))
        if headed:
            above = {
                key: line.get(key) for key in ("supplier", "date", "reference", "order", "currency", "rate")
            }
            for key in (
                "supplier",
                "date",
            ):  # named in one row only: an order's second row may repeat its number
                if line.get(key) is None and kept and _same_order(kept[-1], line):
                    line.data[key] = kept[-1].get(key)
        else:
            for key, value in above.items():
                if value is not None:
                    line.data.setdefault(key, value)
        _read_state(line)
        if line.get("state") == CANCELLED:
            count.rows -= 1
            done.note("cancelled rows were left out.")
            continue
        if line.get("state") == PART_ARRIVED and not line.get("sold"):
            done.note(
                "rows are part arrived; how much came the sheet does not say, so they are still to come."
            )
        kept.append(line)
    return kept


def _same_order(one: Line, other: Line) -> bool:
    return any(other.get(key) and one.get(key) == other.get(key) for key in ("reference", "order"))


def _read_state(line: Line) -> None:
    place = line.plan.column("state")
    if place is None or place >= len(line.row.cells):
        return
    word = fold(str(line.row.cells[place] or ""))
    if word == "refund" and line.get("state") is None:
        line.data["state_word"] = "refund"
        line.faults = [fault for fault in line.faults if fault.heading != line.plan.headings[place]]


def _key(line: Line) -> Key:
    ref = fold(str(line.get("order") or line.get("reference") or ""))
    return (ref, fold(line.get("supplier") or ""), line.get("date"), line.get("state") == DRAFT)


def _is_whole(key: Key, today: date) -> bool:
    """Return whether a row says by itself which order it is of: seller and day, and both can be right."""
    _, supplier, day, draft = key
    return bool(supplier and (draft or (day and day <= today)))


def _key_of_its_order(line: Line, others: Sequence[Key], today: date) -> Key:
    """Return the key of the order that a row belongs to, also where its own seller or day is not right.

    So that an order waits whole for its faulty row, and is not written without it.
    """
    ref, supplier, day, draft = key = _key(line)
    if not ref or _is_whole(key, today):
        return key
    may_be = [
        other
        for other in others
        if (other[0], other[3]) == (ref, draft)
        and other[1] == (supplier or other[1])
        and (not day or day > today or other[2] == day)
    ]
    return may_be[0] if len(may_be) == 1 else key


def bills_of(lines: Sequence[Line], today: date) -> list[Bill]:
    """Return the orders that rows make: those of one number, seller and day."""
    found: dict[Key, Bill] = {}
    whole: dict[str, dict[Key, None]] = {}  # the orders by number, of which a row says seller and day
    for line in lines:
        key = _key(line)
        if _is_whole(key, today):
            whole.setdefault(key[0], {})[key] = None
    for line in lines:
        draft = line.get("state") == DRAFT
        key = _key_of_its_order(line, list(whole.get(_key(line)[0], ())), today)
        if key not in found:
            found[key] = Bill([], draft)
        below = [line.get(name) for name in ("price", "total", "goods") if line.get(name) is not None]
        if below and all(value < 0 for value in below):
            found[key].off.append(line)
        else:
            found[key].rows.append(line)
    found_bills = []
    for bill in found.values():
        if not bill.rows:
            for line in bill.off:
                line.fault(
                    _money_key(line), "is money back without an order of that day; put it on its order."
                )
            bill.rows, bill.off = bill.off, []
        found_bills.append(bill)
    return sorted(found_bills, key=lambda bill: bill.date or date.max)


def _money_key(line: Line) -> str:
    return next((key for key in ("price", "total", "goods") if line.get(key) is not None), "price")


def price(done: Any, bill: Bill, today: date) -> None:
    """Read what each row costs; name what is missing or does not add up."""
    first = bill.first
    if not first.get("supplier"):
        first.fault("supplier", "is empty: who sold it?")
    for row in bill.rows:
        if not row.get("description") and not row.get("number"):
            row.fault("description", "is empty: what was bought?")
        if not bill.draft:
            _check_days(row, today)
    _currency(done, bill)
    if not bill.currency:
        return
    for row in bill.rows:
        if not row.faults:
            _price_row(done, bill, row)
    if not bill.is_right:
        return
    _charges(done, bill)
    _rate(done, bill, today)


def _check_days(row: Line, today: date) -> None:
    ordered, came = row.get("date"), as_day(row.get("arrived"))
    if ordered is None:
        row.fault("date", "is empty: when was it ordered? (Or say in State that it is not ordered yet.)")
    elif ordered > today:
        row.fault("date", "has not come yet.")
    elif came and came < ordered:
        row.fault("arrived", "is before it was ordered.")
    if came and came > today:
        row.fault("arrived", "has not come yet.")


def _check_marks(row: Line, home: str) -> None:
    """Name an amount that is marked in other money than its row's: "45.00 EUR" where the currency is GBP."""
    for key, code in row.marked.items():
        own = home if key in HOME_MONEY else row.get("currency") or row.currency
        if code != own:
            row.fault(key, f"is in {code}, but its row in {own}.")


def _currency(done: Any, bill: Bill) -> None:
    home = done.world.boat.currency
    default = bill.first.plan.options.get("currency") or home
    rows = [*bill.rows, *bill.off]
    for row in rows:
        _check_marks(row, home)
    said = [row.get("currency") or row.currency or "" for row in rows]
    named = set(said) - {""}
    if len(named) > 1:
        first = next(code for code in said if code)
        wrong = next(row for row, code in zip(rows, said, strict=True) if code not in ("", first))
        key = "currency" if wrong.get("currency") else _money_key(wrong)
        wrong.fault(key, f"is in other money than the rest of its order ({', '.join(sorted(named))}).")
        return
    bill.currency = named.pop() if named else default
    try:
        minor_digits(bill.currency)
    except ValueError:
        bill.first.fault(_money_key(bill.first), f"names no currency that is known ({bill.currency}).")
        bill.currency = ""


def _price_row(done: Any, bill: Bill, row: Line) -> None:
    if sold := row.get("sold"):
        bill.prices.append((sold.price, sold.in_all))
        bill.amounts.append(sold.bought)
        return
    quantity = row.get("quantity", Decimal(1))
    if quantity <= 0:
        row.fault("quantity", "is nothing; how many?")
        return
    price, total = row.get("price"), row.get("total")
    if price is None and total is None:
        goods = row.get("goods")
        if goods is None:
            row.fault(
                "price" if row.plan.column("price") is not None else "total",
                "has no price; type 0 for a gift.",
            )
            return
        bill.currency, total = done.world.boat.currency, goods
    if any(value is not None and value < 0 for value in (price, total)):
        row.fault(_money_key(row), "is below nil, and the row's other money is not.")
        return
    if price is not None and total is not None:
        made = price * quantity
        if abs(made - total) > max(Decimal("0.01"), quantity * Decimal("0.005")):
            row.fault(
                "total", f"is not {format_quantity(quantity)} × {price:f}, which is {made.normalize():f}."
            )
            return
    value = total if total is not None else price * quantity
    if value >= DEAREST or (price or 0) >= DEAREST:
        row.fault(_money_key(row), "is too large.")
        return
    # A price with more places than are kept, or rounded on the paper: the row's own total is what was paid.
    in_all = total is not None or price != price.quantize(Decimal("0.0001"))
    bill.prices.append((value if in_all else price, in_all))
    bill.amounts.append(to_minor(value, bill.currency))


def _charges(done: Any, bill: Bill) -> None:
    """Add up what stands beside the goods; what stands alike in each row is the order's, once."""
    if bill.first.get("sold"):
        return  # its charges are known by kind and line
    for key in CHARGES:
        values = [row.get(key) for row in bill.rows if row.get(key)]
        if not values:
            continue
        for row in bill.rows:
            if row.get(key) is not None and row.get(key) < 0 and key != "discount":
                row.fault(key, "is below nil.")
                return
        amount = sum((abs(value) for value in values), Decimal(0))
        if len(bill.rows) > 1 and len(values) == len(bill.rows) and len(set(values)) == 1:
            amount = abs(values[0])
            done.note("orders have the same freight or tax in each of their rows; it was taken once.")
        bill.charges.append((key, amount, bill.currency, None))
    for row in bill.off:
        total = row.get("total") or (row.get("price") or Decimal(0)) * row.get("quantity", Decimal(1))
        bill.charges.append(("discount", abs(total or row.get("goods")), bill.currency, None))


def _rate(done: Any, bill: Bill, today: date) -> None:
    home = done.world.boat.currency
    goods = [row.get("goods") for row in bill.rows]
    landed = [row.get("landed") for row in bill.rows]
    if bill.currency != home:
        if all(value is not None for value in goods) and sum(goods) > 0 and sum(bill.amounts) > 0:
            bill.rate = _rate_of(bill, home, [to_minor(value, home) for value in goods])
        elif bill.first.get("rate"):
            bill.rate = _right_way_round(done, bill, home, today)
        elif published(bill.currency, home, bill.date or today) is None:
            key = "rate" if bill.first.plan.column("rate") is not None else "currency"
            bill.first.fault(
                key,
                f"says no rate, and none for {bill.currency} was published in the week before. Add a column Rate.",
            )
            return
        if bill.rate is not None and not Decimal("0.000001") <= bill.rate < Decimal(10) ** 7:
            bill.first.fault("rate", "cannot be right.")
            return
    if all(value is not None for value in landed) and not bill.charges:
        _charges_of_landed(done, bill, home, [to_minor(value, home) for value in landed])


def _rate_of(bill: Bill, home: str, goods: list[int]) -> Decimal:
    """Return the rate at which the prices come to what the goods cost, to the last minor unit."""
    given, total = bill.first.get("rate"), sum(goods)
    if given and goods_in_home(bill.amounts, bill.currency, home, given) == goods:
        return Decimal(given)
    own = Fraction(sum(bill.amounts), 10 ** minor_digits(bill.currency))
    exact = own / Fraction(total, 10 ** minor_digits(home))
    return (Decimal(exact.numerator) / Decimal(exact.denominator)).quantize(RATE_PLACES)


def _right_way_round(done: Any, bill: Bill, home: str, today: date) -> Decimal:
    """Return the rate as the program has it: people write it either way round."""
    given = Decimal(bill.first.get("rate"))
    known = published(bill.currency, home, bill.date or today)
    if given <= 0 or known is None or bill.first.get("sold"):
        return given
    turned = 1 / given
    if abs(turned - known.rate) < abs(given - known.rate):
        done.note("rates stand the other way round and were turned.")
        return turned.quantize(RATE_PLACES)
    return given


def _charges_of_landed(done: Any, bill: Bill, home: str, landed: list[int]) -> None:
    """Make of each line's cost all in the charges that bring it there exactly."""
    rate = bill.rate or Decimal(1)
    made = (
        goods_in_home(bill.amounts, bill.currency, home, rate) if bill.currency == home or bill.rate else None
    )
    if made is None:
        return
    if bill.first.get("sold"):
        bill.expected = ordered.expected(bill.rows)
        if not bill.expected and any(row.get("sold").not_billed for row in bill.rows):
            done.note("orders have charges that were expected in part; they come in as billed.")
        for one in ordered.charges(bill.rows, made):
            bill.bases[len(bill.charges)] = one.basis
            bill.charges.append((one.kind, Decimal(one.amount).scaleb(-minor_digits(home)), home, one.lines))
        made = [own + sum(row.get("sold").charges.values()) for own, row in zip(made, bill.rows, strict=True)]
    for place, (own, whole) in enumerate(zip(made, landed, strict=True)):
        if whole != own:
            kind = "discount" if whole < own else "handling"
            amount = Decimal(abs(whole - own)).scaleb(-minor_digits(home))
            bill.charges.append((kind, amount, home, (place,)))


def arrivals(bill: Bill, plan: Any, today: date) -> dict[int, date]:
    """Return when each line of a bill came, by position; a day that is not known is the day of ordering."""
    found: dict[int, date] = {}
    said = plan.options.get("came", "")
    for place, row in enumerate(bill.rows):
        came, state = row.get("arrived"), row.get("state")
        day = as_day(came) or bill.date
        if day and (
            as_day(came) or came is True or state == ARRIVED or (said == "all" and state is None and not came)
        ):
            found[place] = day
    return found
