"""Prices side by side: what each supplier asks for so much of a part, all in, and by which day it would be here.

A price is an offer, or what was paid last where that supplier has no offer. Whole packs are bought. Carriage is guessed,
and it is said from what: free above the supplier's sum, their usual carriage, what carriage came to on average on their
orders, none over the counter of a shop we go to; else it is not known and in no sum. Foreign money is changed at the
bank's rate of the day, else at the rate of the boat's newest order in it, and it is said which; else it stays foreign.

Reads in a fixed number of queries. Decides no order: whoever presses the button does.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil

from django.db.models import Count

from refit.boat.models import Boat
from refit.buying.leads import Lead, Leads, read_leads
from refit.buying.models import COUNTED_STATES, Charge, ChargeKind, Line, Offer, Order, Supplier
from refit.buying.rates import published
from refit.calc.lead import LeadProblem, arrives, order_by
from refit.calc.money import convert, from_minor, minor_digits, round_half_up
from refit.stores.models import Part, Unit

OLD_AFTER = 90  # days; a price seen longer ago is marked
MEASURED = (Unit.METRE, Unit.KILOGRAM, Unit.LITRE)
FEW = 500  # parts that one look-up may name


class Carriage(StrEnum):
    """What carriage is guessed from."""

    FREE = "free from their sum"
    USUAL = "their usual carriage"
    AVERAGE = "average of their orders"
    COUNTER = "over the counter"
    UNKNOWN = "not known"


@dataclass(frozen=True)
class Rate:
    """Units of a currency for one of the boat's, and where that comes from (empty for the boat's own)."""

    rate: Decimal
    words: str


@dataclass(frozen=True)
class Price:
    """What one supplier asks, or last asked, for one as sold."""

    supplier: Supplier
    part: Part
    price: Decimal
    currency: str
    pack_size: Decimal
    seen_on: date
    tax_percent: Decimal  # to be added: nought where the price has it in, or where it comes back
    with_tax: bool
    lead: Lead
    offer: Offer | None = None
    order: int | None = None  # number of the order that it was paid on


@dataclass(frozen=True)
class Quote:
    """A price for so much of a part. Sums in minor units of the boat's currency; None where no rate is known."""

    price: Price
    packs: Decimal
    quantity: Decimal
    goods_own: int  # minor units of the price's currency, tax in
    goods: int | None
    carriage: int | None
    carriage_from: Carriage
    each: Decimal | None  # of one unit, in the boat's currency
    rate: Rate | None
    here_on: date | None
    order_by: date | None
    late_days: int | None  # None where nobody knows, or no day is given
    is_old: bool

    @property
    def all_in(self) -> int | None:
        """Return goods and carriage, as far as carriage is known."""
        return None if self.goods is None else self.goods + (self.carriage or 0)

    @property
    def supplier(self) -> Supplier:
        return self.price.supplier

    @property
    def key(self) -> str:
        """Return the word that a form names it by."""
        return f"o{self.price.offer.pk}" if self.price.offer else f"s{self.price.supplier.pk}"


@dataclass
class Prices:
    """All prices of a boat that were asked for, and what is needed to compare them."""

    boat: Boat
    today: date
    leads: Leads
    last: dict[int, list[Price]]  # what was paid last, by part: one of each supplier
    average: dict[int, int]  # carriage of an order, boat's minor units, by supplier
    newest: dict[str, Rate]
    _rates: dict[str, Rate | None] = field(default_factory=dict)

    def of(self, part: Part, *, paid_too: bool = False) -> list[Price]:
        """Return the open offers for a part, and of other suppliers (`paid_too`: of all) what was paid last."""
        found = [
            Price(
                supplier=offer.supplier,
                part=part,
                price=offer.price,
                currency=offer.currency,
                pack_size=offer.pack_size,
                seen_on=offer.seen_on,
                tax_percent=self._tax(offer.with_tax, offer.supplier.tax_percent),
                with_tax=offer.with_tax,
                lead=self.leads.of(offer.supplier, part, offer),
                offer=offer,
            )
            for offer in self.leads.offers.get(part.pk, [])
        ]
        offering = set() if paid_too else {price.supplier.pk for price in found}
        return found + [price for price in self.last.get(part.pk, []) if price.supplier.pk not in offering]

    def quotes(
        self, part: Part, quantity: Decimal, wanted_by: date | None = None, *, paid_too: bool = False
    ) -> list[Quote]:
        """Return what so much of a part would cost and when it would be here, the best first."""
        found = [self.quote(price, quantity, wanted_by) for price in self.of(part, paid_too=paid_too)]
        return sorted(found, key=_rank)

    def quote(self, price: Price, quantity: Decimal, wanted_by: date | None = None) -> Quote:
        """Return what so much would cost at a price, in whole packs."""
        packs = whole_packs(price.part, quantity, price.pack_size)
        taxed = Fraction(price.price) * (100 + Fraction(price.tax_percent)) / 100
        own = round_half_up(taxed * Fraction(packs) * 10 ** minor_digits(price.currency))
        rate = self.rate(price.currency)
        goods = None if rate is None else convert(own, price.currency, self.boat.currency, rate.rate)
        carriage, why = self._carriage(price.supplier, price.currency, own, rate)
        each = None
        if rate is not None:
            exact = taxed / Fraction(price.pack_size) / Fraction(rate.rate)
            each = Decimal(exact.numerator) / Decimal(exact.denominator)
        here_on, latest = self._days(price.lead, wanted_by)
        late = None
        if wanted_by is not None and here_on is not None:
            late = max((here_on - wanted_by).days, 0)
        return Quote(
            price=price,
            packs=packs,
            quantity=packs * price.pack_size,
            goods_own=own,
            goods=goods,
            carriage=carriage,
            carriage_from=why,
            each=each,
            rate=rate,
            here_on=here_on,
            order_by=latest,
            late_days=late,
            is_old=(self.today - price.seen_on).days > OLD_AFTER,
        )

    def rate(self, currency: str) -> Rate | None:
        """Return today's rate of a currency, else that of the boat's newest order in it, else None."""
        if currency not in self._rates:
            self._rates[currency] = self._looked_up(currency)
        return self._rates[currency]

    def home(self, minor: int | None, currency: str) -> int | None:
        """Return minor units of a currency in the boat's; None where either is not known."""
        rate = self.rate(currency) if minor is not None else None
        return (
            None if rate is None or minor is None else convert(minor, currency, self.boat.currency, rate.rate)
        )

    def carriage(self, supplier: Supplier, goods: int) -> tuple[int | None, Carriage]:
        """Return what carriage of so much goods would be (boat's minor units), and what that is guessed from."""
        currency = supplier.currency or self.boat.currency
        rate = self.rate(currency)
        exact = Fraction(from_minor(goods, self.boat.currency)) * Fraction(rate.rate if rate else 0)
        own = round_half_up(exact * 10 ** minor_digits(currency))
        return self._carriage(supplier, currency, own, rate)

    def _looked_up(self, currency: str) -> Rate | None:
        if currency == self.boat.currency:
            return Rate(Decimal(1), "")
        found = published(currency, self.boat.currency, self.today)
        if found is not None:
            return Rate(found.rate, f"European Central Bank, {found.on:%-d %b %Y}")
        return self.newest.get(currency)

    def _tax(self, with_tax: bool, percent: Decimal | None) -> Decimal:
        return Decimal(0) if with_tax or percent is None or self.boat.deducts_tax else percent

    def _days(self, lead: Lead, wanted_by: date | None) -> tuple[date | None, date | None]:
        try:
            here = arrives(self.today, lead.terms)
            return here, None if wanted_by is None else order_by(wanted_by, lead.terms)
        except LeadProblem:  # outside the calendar: as good as never, and somebody must ask
            return None, None

    def _carriage(
        self, supplier: Supplier, currency: str, own: int, rate: Rate | None
    ) -> tuple[int | None, Carriage]:
        """Guess carriage of goods of so much (minor units of `currency`)."""
        theirs = supplier.currency or self.boat.currency
        if (
            supplier.free_freight_from is not None
            and theirs == currency
            and own >= supplier.free_freight_from
        ):
            return 0, Carriage.FREE
        if supplier.usual_freight is not None:
            usual = self.home(supplier.usual_freight, theirs)
            return (usual, Carriage.USUAL) if usual is not None else (None, Carriage.UNKNOWN)
        if supplier.is_shop:
            return 0, Carriage.COUNTER
        if rate is not None and supplier.pk in self.average:
            return self.average[supplier.pk], Carriage.AVERAGE
        return None, Carriage.UNKNOWN


def whole_packs(part: Part, quantity: Decimal, pack_size: Decimal) -> Decimal:
    """Return how many as sold make up so much: whole packs; of what is measured off (4.3 m), just so much."""
    if pack_size == 1 and part.unit in MEASURED:
        return quantity
    return Decimal(max(ceil(Fraction(quantity) / Fraction(pack_size)), 1))


def read_prices(
    boat: Boat, today: date, parts: Iterable[int] | None = None, leads: Leads | None = None
) -> Prices:
    """Read the prices of a boat (of some parts, of all unless told) in four queries, and those of the leads."""
    leads = leads or read_leads(boat, today)
    prices = Prices(boat, today, leads, {}, _average_carriage(boat), _newest_rates(boat))
    prices.last = _paid_last(prices, None if parts is None else list(parts))
    return prices


def _rank(quote: Quote) -> tuple[int, int, int, str]:
    """Return the key that puts the best first: in time, then late by days, then of no known day; then what it costs."""
    late = quote.late_days
    if late is None:
        in_time = 0 if quote.order_by is None and quote.here_on is not None else 10**6
    else:
        in_time = late
    cost = quote.all_in
    return in_time, 1 if cost is None else 0, cost or 0, quote.supplier.folded


def _paid_last(prices: Prices, parts: list[int] | None) -> dict[int, list[Price]]:
    lines = Line.objects.filter(
        boat=prices.boat,
        counted=True,
        part__isnull=False,
        unit_price__gt=0,
        replaces=None,
        second_hand=False,
        gift_value=None,
    )
    if parts is not None and len(parts) <= FEW:
        lines = lines.filter(part_id__in=parts)
    wanted = None if parts is None else set(parts)
    found: dict[int, list[Price]] = defaultdict(list)
    seen: set[tuple[int, int]] = set()
    rows = lines.select_related("order", "part").order_by("-order__ordered_on", "-id")
    for line in rows.iterator(chunk_size=2000):
        part, supplier = line.part, prices.leads.suppliers.get(line.order.supplier_id)
        if part is None or supplier is None or line.order.ordered_on is None:
            continue
        key = (supplier.pk, part.pk)
        if key in seen or (wanted is not None and part.pk not in wanted):
            continue
        seen.add(key)
        with_tax, percent = line.order.prices_with_tax, line.order.tax_percent
        found[part.pk].append(
            Price(
                supplier=supplier,
                part=part,
                price=line.unit_price,
                currency=line.order.currency,
                pack_size=line.pack_size,
                seen_on=line.order.ordered_on,
                tax_percent=prices._tax(with_tax, percent),
                with_tax=with_tax,
                lead=prices.leads.of(supplier, part),
                order=line.order.number,
            )
        )
    return found


def _average_carriage(boat: Boat) -> dict[int, int]:
    """Return what carriage came to on an order of each supplier on average, where any order bore some."""
    totals: dict[int, int] = defaultdict(int)
    rows = Charge.objects.filter(
        boat=boat, kind=ChargeKind.FREIGHT, order__state__in=COUNTED_STATES, in_prices=False
    ).order_by()
    for supplier, currency, amount, rate in rows.values_list(
        "order__supplier_id", "currency", "amount", "rate"
    ):
        totals[supplier] += convert(amount, currency, boat.currency, rate)
    many = dict(
        Order.objects.counted().filter(boat=boat).order_by().values_list("supplier_id").annotate(Count("pk"))
    )
    return {
        supplier: round_half_up(Fraction(total, many[supplier]))
        for supplier, total in totals.items()
        if total
    }


def _newest_rates(boat: Boat) -> dict[str, Rate]:
    """Return the rate of the newest order in each foreign currency."""
    found: dict[str, Rate] = {}
    rows = Order.objects.counted().filter(boat=boat).exclude(currency=boat.currency)
    for currency, rate, on, number in rows.order_by("-ordered_on", "-number").values_list(
        "currency", "rate", "ordered_on", "number"
    ):
        if currency not in found:
            found[currency] = Rate(rate, f"as on order {number}, {on:%-d %b %Y}")
    return found
