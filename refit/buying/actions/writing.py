"""What is typed of an order, and how it becomes an order, its lines and its charges.

Decides what is refused as a price, quantity, rate, charge or day. `buying.actions.orders` decides when an order may
be written at all.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from refit.boat.models import Boat, Location, System
from refit.boat.refusals import Refused
from refit.buying.models import (
    Charge,
    ChargeKind,
    Line,
    LineKind,
    Order,
    PricedBy,
    RateSource,
    Share,
    Supplier,
)
from refit.buying.rates import published
from refit.calc.money import from_minor, minor_digits, round_half_up, to_minor
from refit.stores.models import Need, Part
from refit.work.models import Job

LIMIT = 10**12
DEAREST = Decimal(10) ** 11  # what fits the column of a price each
RATE_PLACES = Decimal("0.00000001")
LONGEST_LEAD = 1000  # days of lead time that are believed


@dataclass(frozen=True)
class LineFacts:
    """A line as typed. Give the price of one as sold, or of the line in all (`total`), as the paper shows it."""

    packs: Decimal
    price: Decimal
    part: Part | None = None
    words: str = ""
    service: bool = False
    pack_size: Decimal = Decimal(1)
    total: bool = False
    job: Job | None = None
    system: System | None = None
    place: Location | None = None
    weight_kg: Decimal | None = None  # of one unit; kept on the part if it has none
    need: Need | None = None  # what it is bought for


@dataclass(frozen=True)
class ChargeFacts:
    """A charge as typed. `lines` are positions from 0; None covers all."""

    kind: str
    amount: Decimal
    words: str = ""
    currency: str = ""
    rate: Decimal | None = None
    basis: str = "value"
    reclaimable: bool = False
    in_prices: bool = False
    expected: bool = False
    payee: Supplier | None = None
    lines: tuple[int, ...] | None = None


@dataclass(frozen=True)
class OrderFacts:
    """An order as typed. Without a rate, the European Central Bank's of the day is looked up."""

    supplier: Supplier
    currency: str
    lines: Sequence[LineFacts]
    charges: Sequence[ChargeFacts] = ()
    ordered_on: date | None = None
    expected_on: date | None = None
    reference: str = ""
    rate: Decimal | None = None
    charged: Decimal | None = None
    prices_with_tax: bool = True
    tax_percent: Decimal | None = None
    job: Job | None = None
    note: str = ""


def set_order(order: Order, boat: Boat, facts: OrderFacts, today: date) -> None:
    """Set what an order says of itself, its rate included."""
    try:
        minor_digits(facts.currency)
    except ValueError as problem:
        raise Refused(str(problem), code="currency", field="currency") from None
    if facts.ordered_on is not None:
        check_day(facts.ordered_on, today, "ordered_on")
    if facts.expected_on is not None and not 1990 <= facts.expected_on.year <= 2100:
        raise Refused(f"{facts.expected_on} cannot be right.", code="date", field="expected_on")
    kept = _kept_rate(order, facts)
    order.supplier, order.currency, order.job = facts.supplier, facts.currency, facts.job
    order.ordered_on, order.expected_on = facts.ordered_on, facts.expected_on
    order.reference, order.note = facts.reference, facts.note
    order.prices_with_tax, order.tax_percent = facts.prices_with_tax, facts.tax_percent
    order.charged = None if facts.charged is None else _checked_charged(facts.charged, boat.currency)
    order.rate_on = None
    if facts.currency == boat.currency:
        order.rate, order.rate_source = Decimal(1), RateSource.HOME
    elif facts.charged is not None:
        order.rate, order.rate_source = _charged_rate(facts, boat), RateSource.CHARGED
    elif kept is not None:
        order.rate_source, order.rate_on = RateSource.ECB, kept
    elif facts.rate is not None:
        order.rate, order.rate_source = checked_rate(facts.rate), RateSource.TYPED
    else:
        _look_up(order, boat, facts.ordered_on or today)


def _checked_charged(charged: Decimal, home: str) -> int:
    minor = to_minor(charged, home)
    if not 0 <= minor < LIMIT:
        raise Refused(f"{charged} cannot be what the card was charged.", code="charged", field="charged")
    return minor


def _kept_rate(order: Order, facts: OrderFacts) -> date | None:
    """Return the day of a draft's published rate if it is kept: a stored rate is never looked up anew."""
    is_same = (order.currency, order.ordered_on, order.rate) == (facts.currency, facts.ordered_on, facts.rate)
    return order.rate_on if order.pk and is_same and order.rate_source == RateSource.ECB else None


def _look_up(order: Order, boat: Boat, day: date) -> None:
    found = published(order.currency, boat.currency, day)
    if found is None:
        raise Refused(
            f"No {order.currency} rate was published within 7 days before {day:%-d %b %Y}. "
            "Type the rate, or what the card was charged.",
            code="no_rate",
            field="rate",
        )
    order.rate, order.rate_source, order.rate_on = found.rate, RateSource.ECB, found.on


def checked_rate(rate: Decimal) -> Decimal:
    """Return a rate to eight places, or refuse what cannot be one."""
    if not Decimal("0.000001") <= rate < Decimal(10) ** 7:
        raise Refused(f"A rate of {rate} cannot be right.", code="rate", field="rate")
    return rate.quantize(RATE_PLACES)


def _charged_rate(facts: OrderFacts, boat: Boat) -> Decimal:
    """Return the rate that turns the order's own money into what the card was charged."""
    total = sum((Fraction(amount_of(row, facts.currency)) for row in facts.lines), Fraction(0))
    for charge in facts.charges:
        is_own = (charge.currency or facts.currency) == facts.currency and charge.payee is None
        if is_own and not charge.in_prices:
            value = to_minor(charge.amount, facts.currency)
            total += -value if charge.kind == ChargeKind.DISCOUNT else value
    charged = to_minor(facts.charged or Decimal(0), boat.currency)
    if total <= 0 or charged <= 0:
        raise Refused(
            "What the card was charged sets no rate when nothing was to pay.", code="charged", field="charged"
        )
    own = total / 10 ** minor_digits(facts.currency)
    home = Fraction(charged, 10 ** minor_digits(boat.currency))
    exact = own / home
    rate = Decimal(exact.numerator) / Decimal(exact.denominator)
    return checked_rate(rate)


def amount_of(row: LineFacts, currency: str) -> int:
    """Return what a line comes to in the order's currency, or refuse its price."""
    price = row.price if row.total else row.packs * row.price
    amount = to_minor(price, currency)
    if amount < 0:
        raise Refused(
            "A price is nil or more; money off goes in as a discount.", code="negative", field="price"
        )
    if amount >= LIMIT:
        raise Refused(f"{price} is too much for one line.", code="too_large", field="price")
    return amount


def make_line(order: Order, position: int, row: LineFacts) -> Line:
    """Make a line of an order from what was typed."""
    line = build_line(order, position, row)
    line.save()
    return line


def build_line(order: Order, position: int, row: LineFacts) -> Line:
    """Return a line of an order as typed, checked and not saved yet."""
    if row.packs <= 0 or row.pack_size <= 0:
        raise Refused("How many? Type a number above nil.", code="nothing", field="packs")
    quantity = row.packs * row.pack_size
    if quantity >= 10**6:
        raise Refused("A quantity stays below a million.", code="too_large", field="packs")
    if quantity != quantity.quantize(Decimal("0.001")):
        raise Refused("At most three places in a quantity.", code="places", field="packs")
    amount = amount_of(row, order.currency)
    kind = LineKind.PART if row.part else LineKind.SERVICE if row.service else LineKind.WORDS
    if row.part and row.weight_kg is not None and row.part.weight_kg is None:
        row.part.weight_kg = row.weight_kg
        row.part.save(update_fields=["weight_kg"])
    each = row.price
    if row.total:
        each = from_minor(amount, order.currency) / row.packs
    if each >= DEAREST:
        raise Refused(f"{row.price} is too much for one.", code="too_large", field="price")
    each = each.quantize(Decimal("0.0001"))
    job = row.job or order.job
    return Line(
        boat=order.boat,
        order=order,
        position=position,
        kind=kind,
        part=row.part,
        words="" if row.part else row.words,
        packs=row.packs,
        pack_size=row.pack_size,
        quantity=quantity,
        unit=row.part.unit if row.part else "each",
        priced_by=PricedBy.TOTAL if row.total else PricedBy.EACH,
        unit_price=each,
        amount=amount,
        job=job,
        system=row.system or (job.system if job else None),
        place=row.place,
        need=row.need,
    )


def make_charge(order: Order, row: ChargeFacts, lines: list[Line], today: date) -> Charge:
    """Make a charge of an order over the lines that it covers."""
    charge = build_charge(order, row, today)
    covered = covered_by(row, lines)
    charge.save()
    Share.objects.bulk_create([Share(boat=order.boat, charge=charge, line=line) for line in covered])
    return charge


def covered_by(row: ChargeFacts, lines: list[Line]) -> list[Line]:
    """Return the lines that a charge is for."""
    covered = lines if row.lines is None else [lines[place] for place in row.lines if place < len(lines)]
    if not covered:
        raise Refused("Tick the lines that this charge is for.", code="no_lines", field="lines")
    return covered


def build_charge(order: Order, row: ChargeFacts, today: date) -> Charge:
    """Return a charge of an order as typed, checked and not saved yet."""
    currency = row.currency or order.currency
    try:
        amount = to_minor(row.amount, currency)
    except ValueError as problem:
        raise Refused(str(problem), code="currency", field="currency") from None
    if amount < 0:
        raise Refused(
            "A charge is nil or more; money off goes in as a discount.", code="negative", field="amount"
        )
    if amount >= LIMIT:
        raise Refused(f"{row.amount} is too much for one charge.", code="too_large", field="amount")
    if row.kind != ChargeKind.TAX and (row.reclaimable or row.in_prices):
        raise Refused("Only tax is reclaimed, or in the prices already.", code="tax_marks", field="kind")
    check_deducted(row.reclaimable, order.boat)
    rate = order.rate
    if currency == order.boat.currency:
        rate = Decimal(1)
    elif currency != order.currency:
        found = published(currency, order.boat.currency, order.ordered_on or today)
        if row.rate is None and found is None:
            raise Refused(f"Type the rate for the charge in {currency}.", code="no_rate", field="rate")
        rate = checked_rate(row.rate) if row.rate is not None else found.rate  # type: ignore[union-attr]
    return Charge(
        boat=order.boat,
        order=order,
        kind=row.kind,
        words=row.words,
        currency=currency,
        amount=amount,
        rate=rate,
        basis=row.basis,
        over_all=row.lines is None,
        reclaimable=row.reclaimable,
        in_prices=row.in_prices,
        expected=row.expected,
        payee=row.payee,
    )


def check_deducted(reclaimable: bool, boat: Boat) -> None:
    """Refuse a tax that is no cost on a boat that cannot deduct it."""
    if reclaimable and not boat.deducts_tax:
        raise Refused(
            "This boat does not get tax back as a business, so the tax is cost. If it comes back later (export, "
            "yacht in transit), it is money back on the order.",
            code="not_deducted",
            field="reclaimable",
        )


def check_day(day: date, today: date, name: str) -> None:
    """Refuse a day to come, and one of long ago."""
    if day > today:
        raise Refused(f"{day:%-d %b %Y} has not come yet.", code="future", field=name)
    if day.year < 1950:
        raise Refused(f"{day} is too long ago.", code="too_early", field=name)


def check_lead(days: int | None, name: str) -> None:
    """Refuse a lead time that nobody would wait for; None is allowed: it is asked, never nought."""
    if days is not None and not 0 <= days <= LONGEST_LEAD:
        raise Refused(
            f"A lead time of {days:,} days cannot be right; at most {LONGEST_LEAD:,}. "
            "Leave it empty where nobody knows, and it is asked.",
            code="lead",
            field=name,
        )


def tax_on(facts: OrderFacts) -> int:
    """Return the tax on prices printed without it, in minor units of the order's currency."""
    if facts.prices_with_tax or not facts.tax_percent:
        return 0
    goods = sum(amount_of(row, facts.currency) for row in facts.lines)
    return round_half_up(Fraction(goods) * Fraction(facts.tax_percent) / 100)
