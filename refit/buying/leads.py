"""How long it takes until what is ordered today is here: one rule, for every supplier and part of a boat.

The first of these that is known counts: what the offer itself says; what this boat's own deliveries teach (of this part
from this supplier, else all of that supplier's); what the supplier says as a rule. Else nobody knows and somebody must
ask: never nought. What may not fly goes by land or sea: the offer's days for that, what deliveries of the very part
taught, the supplier's days for that. What people say is counted in the supplier's own days (working days where marked,
less their public holidays), what was learned in calendar days.

Reads in five queries, however many suppliers and parts; decides nothing about prices.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from refit.boat.models import Boat, Where
from refit.buying.models import DeliveryLine, Line, LineKind, Offer, Supplier
from refit.calc.holidays_of import HolidayProblem, holidays_of
from refit.calc.lead import LONGEST, Learned, Terms, arrives, learned
from refit.calc.numbers import format_quantity
from refit.stores.models import Part
from refit.work.models import WorkTerms

MARGIN = 3  # days before it is wanted, where the boat has not said otherwise
YEARS_AHEAD = 3
Pair = tuple[int, int]  # supplier, part


@dataclass(frozen=True)
class Lead:
    """How long one supplier takes for one part, who says so, and what deliveries taught if that is what counts."""

    terms: Terms
    said_by: str = ""  # "price", "deliveries", "supplier", or nothing where nobody knows
    surface: bool = False

    @property
    def is_known(self) -> bool:
        return self.terms.lead_days is not None

    @property
    def words(self) -> str:
        """Return the lead time as people say it: `6 working days, by land or sea`, or `ask`."""
        if self.terms.lead_days is None:
            return "ask, it may not fly" if self.surface else "ask"
        days = self.terms.lead_days
        kind = "working day" if self.terms.working else "day"
        return f"{days} {kind}{'' if days == 1 else 's'}" + (", by land or sea" if self.surface else "")


def learned_words(taught: Learned) -> str:
    """Return what deliveries taught: `last two 6 and 9 days, median 7`."""
    median = format_quantity(taught.median)
    if len(taught.last) == 1:
        return f"last {taught.last[0]} days" if taught.last[0] != 1 else "last 1 day"
    return f"last two {taught.last[0]} and {taught.last[1]} days, median {median}"


@dataclass
class Leads:
    """Everything that the rule looks at, read once."""

    today: date
    margin_days: int
    suppliers: dict[int, Supplier]
    offers: dict[int, list[Offer]]  # open ones, by part, the newest first
    of_supplier: dict[int, Learned]
    of_pair: dict[Pair, Learned]
    sold_by: dict[int, set[int]]  # suppliers that a part was ever ordered from, by part
    _off: dict[tuple[str, str], frozenset[date]] = field(default_factory=dict)

    def of(self, supplier: Supplier, part: Part, offer: Offer | None = None) -> Lead:
        """Return how long a supplier takes for a part, by the rule above."""
        pair = self.of_pair.get((supplier.pk, part.pk))
        if part.no_air:
            said = offer.surface_days if offer else None
            return self._first(supplier, said, pair, supplier.surface_days, surface=True)
        said = offer.lead_days if offer else None
        return self._first(supplier, said, pair or self.of_supplier.get(supplier.pk), supplier.lead_days)

    def terms_of(self, parts: Iterable[Part]) -> dict[int, Terms]:
        """Return for each part the terms of whoever would have it here first; a part nobody is known to sell is left out."""
        found = {}
        for part in parts:
            offers = self.offers.get(part.pk, [])
            leads = [self.of(offer.supplier, part, offer) for offer in offers]
            offering = {offer.supplier_id for offer in offers}
            leads += [self.of(self.suppliers[pk], part) for pk in self.sold_by.get(part.pk, set()) - offering]
            known = [lead.terms for lead in leads if lead.is_known]
            if known:
                found[part.pk] = min(known, key=lambda terms: arrives(self.today, terms) or date.max)
        return found

    def _first(
        self,
        supplier: Supplier,
        offered: int | None,
        taught: Learned | None,
        as_a_rule: int | None,
        *,
        surface: bool = False,
    ) -> Lead:
        if offered is not None:
            return Lead(self._terms(supplier, offered), "price", surface)
        if taught is not None:
            return Lead(Terms(taught.used, self.margin_days), "deliveries", surface)
        if as_a_rule is not None:
            return Lead(self._terms(supplier, as_a_rule), "supplier", surface)
        return Lead(Terms(None, self.margin_days), "", surface)

    def _terms(self, supplier: Supplier, days: int) -> Terms:
        days = min(days, LONGEST)
        if not supplier.in_working_days:
            return Terms(days, self.margin_days)
        return Terms(days, self.margin_days, working=True, off=self._holidays(supplier))

    def _holidays(self, supplier: Supplier) -> frozenset[date]:
        key = (supplier.country, supplier.region)
        if key not in self._off:
            years = range(self.today.year - 1, self.today.year + YEARS_AHEAD)
            try:
                self._off[key] = holidays_of(*key, years) if supplier.country else frozenset()
            except HolidayProblem:  # brought in from elsewhere: no holidays rather than no page
                self._off[key] = frozenset()
        return self._off[key]


def read_leads(boat: Boat, today: date) -> Leads:
    """Read what the rule looks at, of all suppliers and parts of a boat."""
    offers: dict[int, list[Offer]] = defaultdict(list)
    for offer in Offer.objects.open().filter(boat=boat).select_related("supplier"):
        offers[offer.part_id].append(offer)
    of_supplier, of_pair = _taught(boat)
    sold_by: dict[int, set[int]] = defaultdict(set)
    lines = Line.objects.filter(boat=boat, counted=True, part__isnull=False).order_by()
    for seller, part in lines.values_list("order__supplier_id", "part_id").distinct():
        sold_by[part or 0].add(seller)
    margin = WorkTerms.objects.filter(boat=boat).values_list("margin_days", flat=True).first()
    return Leads(
        today=today,
        margin_days=MARGIN if margin is None else margin,
        suppliers={supplier.pk: supplier for supplier in Supplier.objects.filter(boat=boat)},
        offers=offers,
        of_supplier=of_supplier,
        of_pair=of_pair,
        sold_by=sold_by,
    )


def _taught(boat: Boat) -> tuple[dict[int, Learned], dict[Pair, Learned]]:
    """Return what deliveries teach by supplier (an order's first) and by supplier and part (a part's first)."""
    by_order: dict[int, tuple[date, int, int]] = {}
    by_part: dict[tuple[int, int], tuple[date, int, int]] = {}
    for order, supplier, part, days, here in _came(boat):
        if order not in by_order or here < by_order[order][0]:
            by_order[order] = (here, days, supplier)
        if part is not None and ((order, part) not in by_part or here < by_part[(order, part)][0]):
            by_part[(order, part)] = (here, days, supplier)
    of_supplier: dict[int, list[tuple[date, int]]] = defaultdict(list)
    of_pair: dict[Pair, list[tuple[date, int]]] = defaultdict(list)
    for here, days, supplier in by_order.values():
        of_supplier[supplier].append((here, days))
    for (_, bought), (here, days, supplier) in by_part.items():
        of_pair[(supplier, bought)].append((here, days))
    return _learn(of_supplier), _learn(of_pair)


def _learn(rows: dict[Any, list[tuple[date, int]]]) -> dict[Any, Learned]:
    found = {key: learned([days for _, days in sorted(seen)]) for key, seen in rows.items()}
    return {key: taught for key, taught in found.items() if taught is not None}


def _came(boat: Boat) -> list[tuple[int, int, int | None, int, date]]:
    """Return order, supplier, part, days and day of each arrival; what came to a place away is here so much later.

    Bought over the counter teaches how long it takes of a shop we go to alone: elsewhere, an order that was written
    down on the day it came says nothing.
    """
    rows = DeliveryLine.objects.filter(
        boat=boat, delivery__undone_at=None, quantity__gt=0, line__order__ordered_on__isnull=False
    ).exclude(line__kind=LineKind.SERVICE)
    names = (
        "line__order_id",
        "line__order__supplier_id",
        "line__part_id",
        "line__order__ordered_on",
        "delivery__arrived_on",
        "line__order__supplier__is_shop",
        "place__where",
        "place__area__days_away",
    )
    found = []
    for order, supplier, part, ordered_on, arrived_on, is_shop, where, away in rows.order_by().values_list(
        *names
    ):
        here = arrived_on + timedelta(days=(away or 0) if where == Where.AWAY else 0)
        days = (here - ordered_on).days
        if days > 0 or (days == 0 and is_shop):
            found.append((order, supplier, part, days, here))
    return found
