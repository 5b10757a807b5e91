"""What to buy: every part that a job, a spare's least or an empty tin asks for, from whom best, and by which day to order.

One row a part (the newest of those that replace each other), or a need in words. What stands on an order not placed yet
is bought already as far as this list goes: for the need it names first, then for the job, then for whoever wants it first.
Quantities go up to whole sets. What the spares lack is counted against what lies anywhere and what is to come for no job; a
part kept by level is asked for when the best of it is low or gone and none is to come. Nobody has named a day for these:
with a day of departure that one is taken, else they may wait for the next order.

Reads in a constant number of queries. Decides no supplier: the best is proposed, the person chooses.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from enum import IntEnum, StrEnum

from refit.boat.models import Boat, Where
from refit.buying.models import COMING_STATES, Line, Order, OrderState, Supplier
from refit.buying.netted import NeedInTime, Netted, netted
from refit.buying.prices import Carriage, Prices, Quote, read_prices
from refit.buying.supplies import family
from refit.calc.sets import up_to_sets
from refit.stores.models import Holding, Kept, Level, Need, Part
from refit.stores.reading import below_minimum, whereabouts
from refit.work.models import Job, MilestoneKind

NIL = Decimal(0)
WEEK = timedelta(days=7)


class Urgency(IntEnum):
    """How soon to order, the most urgent first."""

    LATE = 0
    TONIGHT = 1
    WEEK = 2
    ASK = 3
    LATER = 4
    NO_DAY = 5

    @property
    def words(self) -> str:
        return (
            "Too late already",
            "Order tonight",
            "Order this week",
            "Ask how long it takes",
            "Later",
            "No day: with the next order",
        )[self]


NOW = (Urgency.LATE, Urgency.TONIGHT, Urgency.WEEK)
MAY_WAIT = (Urgency.LATER, Urgency.NO_DAY)


class Why(StrEnum):
    """Why something is bought."""

    JOB = "for a job"
    SPARE = "below its least"
    LOW = "low"
    GONE = "gone"


@dataclass
class Wish:
    """One reason to buy so much of something; `left` is what no order names yet."""

    why: Why
    quantity: Decimal
    wanted_by: date | None = None
    need: Need | None = None
    job: Job | None = None
    left: Decimal = NIL

    def __post_init__(self) -> None:
        self.left = self.quantity


@dataclass
class BuyRow:
    """One thing to buy: for whom, how many in whole sets, and what it would cost from whom."""

    key: str  # p17 for a part, n33 for a need in words
    part: Part | None
    words: str
    wishes: list[Wish] = field(default_factory=list)
    quotes: list[Quote] = field(default_factory=list)
    urgency: Urgency = Urgency.ASK

    @property
    def what(self) -> str:
        return self.part.name if self.part else self.words

    @property
    def unit(self) -> str:
        return "" if self.part is None or self.part.unit == "each" else self.part.get_unit_display()

    @property
    def wanted(self) -> list[Wish]:
        """Return the wishes that nothing is bought for yet, the first wanted first."""
        return [wish for wish in self.wishes if wish.left > 0]

    @property
    def short(self) -> Decimal:
        return sum((wish.left for wish in self.wishes), NIL)

    @property
    def to_buy(self) -> Decimal:
        """Return how many to buy, in whole sets."""
        return up_to_sets(self.short, self.part.sets_of) if self.part else self.short

    @property
    def wanted_by(self) -> date | None:
        return min((wish.wanted_by for wish in self.wanted if wish.wanted_by), default=None)

    @property
    def jobs(self) -> list[Job]:
        return list({wish.job.pk: wish.job for wish in self.wanted if wish.job}.values())

    @property
    def best(self) -> Quote | None:
        return self.quotes[0] if self.quotes else None

    @property
    def order_by(self) -> date | None:
        return self.best.order_by if self.best else None

    @property
    def late_days(self) -> int:
        return (self.best.late_days or 0) if self.best else 0

    @property
    def must_fit(self) -> str:
        return "; ".join(dict.fromkeys(w.need.must_fit for w in self.wanted if w.need and w.need.must_fit))

    @property
    def one_piece(self) -> bool:
        return any(wish.need is not None and wish.need.one_piece for wish in self.wanted)

    def quote_named(self, key: str) -> Quote | None:
        """Return the price that a form names, if it is still there."""
        return next((quote for quote in self.quotes if quote.key == key), None)


@dataclass(frozen=True)
class Filling:
    """One supplier: what is to order now, and what could wait but would make carriage free.

    Sums are minor units of the supplier's currency. `missing` is what is missing until carriage is free, None where it is
    never free or the sums are in another currency.
    """

    supplier: Supplier
    rows: list[BuyRow]
    now: int
    missing: int | None
    fill: list[BuyRow]
    carriage: int | None  # of what is to order now, boat's minor units
    carriage_from: Carriage

    @property
    def is_free(self) -> bool:
        return self.carriage_from == Carriage.FREE


@dataclass
class ToBuy:
    """The list, the drafts that wait to be placed, and the prices it was compared by."""

    boat: Boat
    today: date
    rows: list[BuyRow]
    prices: Prices
    netted: Netted
    drafts: list[Order] = field(default_factory=list)

    def row(self, key: str) -> BuyRow | None:
        return next((row for row in self.rows if row.key == key), None)

    def by_supplier(self, rows: Iterable[BuyRow]) -> list[tuple[Filling | None, list[BuyRow]]]:
        """Return rows by their best supplier, by name; last those that nobody is known to sell."""
        groups: dict[int, list[BuyRow]] = defaultdict(list)
        for row in rows:
            groups[row.best.supplier.pk if row.best else 0].append(row)
        nobody = groups.pop(0, [])
        named = sorted(groups.items(), key=lambda group: self.prices.leads.suppliers[group[0]].folded)
        found: list[tuple[Filling | None, list[BuyRow]]] = [
            (self.filling(self.prices.leads.suppliers[pk], some), some) for pk, some in named
        ]
        return [*found, (None, nobody)] if nobody else found

    def filling(self, supplier: Supplier, rows: list[BuyRow]) -> Filling:
        """Return what is to order now from a supplier, and which of the rest would make carriage free."""
        currency = supplier.currency or self.boat.currency
        own = [row for row in rows if row.best and row.best.price.currency == currency]
        now = sum(row.best.goods_own for row in own if row.best and row.urgency in NOW)
        home = self.prices.home(now, currency)
        carriage, why = self.prices.carriage(supplier, home) if home is not None else (None, Carriage.UNKNOWN)
        missing, fill = None, []
        if supplier.free_freight_from is not None:
            missing = max(supplier.free_freight_from - now, 0)
            gathered = 0
            waiting = [row for row in own if row.urgency in MAY_WAIT]
            for row in sorted(waiting, key=lambda row: (row.order_by or date.max, row.what)):
                if gathered >= missing:
                    break
                gathered += row.best.goods_own if row.best else 0
                fill.append(row)
            if gathered < missing or not now:
                fill = []
        return Filling(supplier, rows, now, missing, fill, carriage, why)


def to_buy(boat: Boat, today: date, known: Netted | None = None) -> ToBuy:
    """Return what to buy, the most urgent first."""
    found = known or netted(boat, today)
    prices = read_prices(boat, today, leads=found.leads)
    rows = _rows(found)
    _strike_off(found, rows)
    left = [row for row in rows.values() if row.short > 0]
    for row in left:
        row.wishes.sort(key=lambda wish: (wish.wanted_by or date.max, wish.job.number if wish.job else 0))
        if row.part is not None:
            row.quotes = prices.quotes(row.part, row.to_buy, row.wanted_by)
        row.urgency = _urgency(row, today)
    left.sort(key=lambda row: (row.urgency, row.order_by or row.wanted_by or date.max, row.what.casefold()))
    drafts = Order.objects.filter(boat=boat, state=OrderState.DRAFT).select_related("supplier")
    return ToBuy(boat, today, left, prices, found, list(drafts.order_by("number")))


def _urgency(row: BuyRow, today: date) -> Urgency:
    if row.wanted_by is None:
        return Urgency.NO_DAY
    if row.best is None or row.best.here_on is None:
        return Urgency.ASK
    if row.late_days:
        return Urgency.LATE
    if row.order_by is None or row.order_by <= today:
        return Urgency.TONIGHT
    return Urgency.WEEK if row.order_by <= today + WEEK else Urgency.LATER


def _rows(found: Netted) -> dict[str, BuyRow]:
    """Return everything that is short, whatever is drafted for it."""
    rows: dict[str, BuyRow] = {}
    for need in found.rows:
        _wish_of(need, found, rows)
    departure = found.work.milestone(MilestoneKind.DEPARTURE)
    day = departure.target if departure else None
    for part, short in _spares(found):
        _row(found, rows, part).wishes.append(Wish(Why.SPARE, short, wanted_by=day))
    for part, why in _levels(found):
        row = _row(found, rows, part)
        if not row.wishes:
            row.wishes.append(Wish(why, Decimal(1), wanted_by=day))
    return {key: row for key, row in rows.items() if row.wishes}


def _wish_of(need: NeedInTime, found: Netted, rows: dict[str, BuyRow]) -> None:
    if need.need.part_id is None:
        key = f"n{need.need.pk}"
        rows[key] = BuyRow(key, None, need.need.words)
        rows[key].wishes.append(Wish(Why.JOB, need.need.quantity, need.wanted_by, need.need, need.job))
    elif need.met is not None and need.met.short > 0:
        part = found.parts[need.met.buy or need.need.part_id]
        wish = Wish(Why.JOB, need.met.short, need.wanted_by, need.need, need.job)
        _row(found, rows, part).wishes.append(wish)


def _row(found: Netted, rows: dict[str, BuyRow], part: Part) -> BuyRow:
    newest = found.parts[family(part.pk, found.parts)[-1]]
    key = f"p{newest.pk}"
    return rows.setdefault(key, BuyRow(key, newest, ""))


def _spares(found: Netted) -> list[tuple[Part, Decimal]]:
    """Return the counted spares of which too few are aboard, less what lies anywhere or is to come for no job.

    What took the place of a spare counts for it.
    """
    below = [part for part, _ in below_minimum(found.boat, found.today) if part.kept == Kept.COUNTED]
    families = {part.pk: family(part.pk, found.parts) for part in below}
    ids = {pk for each in families.values() for pk in each}
    where = whereabouts(found.boat, ids, found.today)
    there = {pk: where[pk].aboard + where[pk].ashore + where[pk].away for pk in ids}
    lines = Line.objects.filter(boat=found.boat, order__state__in=COMING_STATES, job=None, part__in=ids)
    for line in lines:
        there[line.part_id or 0] += line.open_quantity
    short = []
    for part in below:
        missing = part.minimum - sum((there[pk] for pk in families[part.pk]), NIL)
        if missing > 0:
            short.append((part, missing))
    return short


def _levels(found: Netted) -> list[tuple[Part, Why]]:
    """Return what is kept by level and low or gone wherever it is at hand, with none to come."""
    rank: list[str] = [Level.GONE, Level.LOW, Level.FINE]
    best: dict[int, int] = {}
    rows = Holding.objects.filter(
        boat=found.boat, part__kept=Kept.LEVEL, part__retired_at=None, level__in=rank
    ).exclude(place__where=Where.AWAY)
    for part, level in rows.order_by("part_id").values_list("part_id", "level"):
        best[part] = max(best.get(part, 0), rank.index(level))
    coming = set(
        Line.objects.filter(
            boat=found.boat, order__state__in=COMING_STATES, part__kept=Kept.LEVEL
        ).values_list("part_id", flat=True)
    )
    words = (Why.GONE, Why.LOW)
    return [
        (found.parts[part], words[level])
        for part, level in best.items()
        if level < len(words) and part not in coming
    ]


def _strike_off(found: Netted, rows: dict[str, BuyRow]) -> None:
    """Take off what stands on an order: of parts those not placed yet, of needs in words any that names them."""
    lines = Line.objects.filter(boat=found.boat).exclude(order__state=OrderState.CANCELLED)
    for line in lines.filter(need__isnull=False, need__part=None):
        row = rows.get(f"n{line.need_id}")
        if row is not None:
            row.wishes[0].left = max(row.wishes[0].left - line.wanted, NIL)
    drafted: dict[str, list[Line]] = defaultdict(list)
    for line in lines.filter(order__state=OrderState.DRAFT, part__isnull=False).order_by("id"):
        drafted[f"p{family(line.part_id or 0, found.parts)[-1]}"].append(line)
    for key, some in drafted.items():
        if key in rows:
            _strike_row(rows[key], some)


def _strike_row(row: BuyRow, lines: list[Line]) -> None:
    rest = {line.pk: line.quantity for line in lines}
    if row.part is not None and row.part.kept != Kept.COUNTED:
        for wish in row.wishes:  # of what is not counted, some is enough
            wish.left = NIL
        return
    tests = (
        lambda line, wish: (
            line.need_id is not None and wish.need is not None and line.need_id == wish.need.pk
        ),
        lambda line, wish: line.job_id is not None and wish.job is not None and line.job_id == wish.job.pk,
        lambda line, wish: True,
    )
    for test in tests:
        for line in lines:
            for wish in sorted(row.wishes, key=lambda wish: wish.wanted_by or date.max):
                if test(line, wish):
                    some = min(rest[line.pk], wish.left)
                    wish.left -= some
                    rest[line.pk] -= some
