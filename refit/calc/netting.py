"""Who gets what, by when, and what must still be ordered: wants of jobs against what is here, away and on order.

The rule, in this order, and nothing cleverer than a person can follow on paper:

1. Wants are served one after the other, by priority, then by the day wanted, then by key. One is served in full before
   the next, so that nothing wanted later or less can harm it.
2. What is reserved for a want or for its job is held for it until it has been served; only what it then leaves is free,
   and that goes to those still short. What is set aside firmly is never offered to others.
3. Each takes first what is in time: its own, then aboard, ashore, away, on order by the day expected; of these the batch
   that expires first; of pieces the shortest that will do, or, where none will and joins do no harm, the longest first.
4. Then what is late, by the day it comes (its own first on one day), and last what nobody knows the day of.
5. What is out of date on the day of use (the day wanted, or the day it comes if that is later) does not count. A want in
   one piece is met only by one piece, long enough.
6. What is short is ordered today, if its lead time is known; else somebody must ask.

An order whose expected day has passed without it has no expected day any more. Within one priority, with nothing
reserved, out of date or in pieces, rules 1, 3 and 4 make the greatest lateness the least possible (the rule of the
earliest due date: J. R. Jackson, 1955); they do not make the number of late wants the least.

Takes today as an argument. Quantities are in the part's own unit and exact. Knows no models.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from itertools import groupby
from operator import itemgetter

from .lead import UNKNOWN, Terms, arrives, order_by
from .problems import Problem, shown

NOTHING = Decimal(0)
NEVER = date.max.toordinal()


class NettingProblem(Problem):
    """What cannot be netted; `code` is "negative", "twice" or "no_part"."""


class Source(StrEnum):
    """Where a supply is, the nearest first."""

    ABOARD = "aboard"
    ASHORE = "ashore"
    AWAY = "away"
    ON_ORDER = "on order"


RANK = {source: rank for rank, source in enumerate(Source)}
HERE = (Source.ABOARD, Source.ASHORE)


class Verdict(StrEnum):
    """What is to be said of a want, the best first."""

    HERE = "here"
    AWAY_IN_TIME = "away, in time"
    IN_TIME = "on order, in time"
    TO_ORDER = "to order"
    LATE = "late"
    ORDER_LATE = "too late to order"
    DAY_UNKNOWN = "day unknown"
    ASK = "ask"


BEST = tuple(Verdict)


@dataclass(frozen=True)
class Supply:
    """So much of a part in one place, or to come on one line of an order.

    `on` is the day it is here: today for what is, today and the days it is away, the day an order is expected; None
    where nobody knows. `one_piece`: a single piece, `quantity` is its length. `endless`: kept by level and there is
    enough, whatever `quantity` says. `reserved_for` is the key or the group of a want, held for it first; with `firm`
    it is never offered to others. `place` is for showing.
    """

    key: str
    part: int
    quantity: Decimal
    source: Source
    on: date | None
    good_until: date | None = None
    one_piece: bool = False
    place: str = ""
    reserved_for: str | None = None
    firm: bool = False
    order: int | None = None
    endless: bool = False


@dataclass(frozen=True)
class Want:
    """So much of a part that a job (its `group`) wants by a day; priority 1 comes first.

    `accepts` are the parts that will do: the part itself, then what replaced it, the newest last; that one is bought.
    `bulk`: kept by level or just here, so that any supply of it at all is enough and nothing is used up.
    """

    key: str
    group: str
    accepts: tuple[int, ...]
    quantity: Decimal
    wanted_by: date
    priority: int = 2
    one_piece: bool = False
    bulk: bool = False


@dataclass(frozen=True)
class Take:
    """So much of a supply for a want, and the day it can be here (None: nobody knows)."""

    supply: Supply
    quantity: Decimal
    on: date | None


@dataclass(frozen=True)
class Met:
    """How a want is met.

    `verdict` is the worst of `verdicts`, which has each that applies, the worst first. `late_days` is the greatest
    lateness that is known, nought if none. `buy` is the part to order where it is `short`: `order_by` is the last day for
    that (it may have passed: then the margin is being used up), `fresh_on` the day it comes if ordered today, given too
    where something is late (what if another were bought?). `ready_on` is the day all of it can be here, with what is
    short ordered today. A day is None where nobody knows; `order_by` also where nothing is short, `fresh_on` where
    nothing is short or late.
    """

    want: Want
    takes: tuple[Take, ...]
    short: Decimal
    verdict: Verdict
    verdicts: tuple[Verdict, ...]
    late_days: int
    order_by: date | None
    ready_on: date | None
    fresh_on: date | None
    buy: int


def net(
    wants: Iterable[Want], supplies: Iterable[Supply], terms: Mapping[int, Terms], today: date
) -> dict[str, Met]:
    """Say of each want, by key and in the order served, how it is met; `terms` are by part, a part without must be asked.

    Raise NettingProblem for a key that is there twice, a want without a part, or a quantity below nought.
    """
    ordered = sorted(wants, key=lambda want: (want.priority, want.wanted_by, want.key))
    sources = list(supplies)
    _refuse(ordered, sources)
    share_out = _ShareOut(sources, today)
    share_out.hold(ordered)
    short = [want for want in ordered if share_out.serve(want)]
    # What its own has left is free now, for those who came before it and are still short.
    for want in short:
        if share_out.released.intersection(want.accepts):
            share_out.serve(want)
    fresh = {part: arrives(today, terms.get(part, UNKNOWN)) for part in {_bought(want) for want in ordered}}
    return {
        want.key: _met(want, share_out.takes[want.key], share_out.short(want), terms, fresh, today)
        for want in ordered
    }


def day_of(supply: Supply, today: date) -> date | None:
    """Return the day a supply can be here, today at the earliest; None where nobody knows.

    What is here is here today. An order expected on a day that has passed is expected on none.
    """
    if supply.source in HERE:
        return today
    if supply.on is None or (supply.source == Source.ON_ORDER and supply.on < today):
        return None
    return max(supply.on, today)


# Supplies alike but for their length and key: late or not, whose, where, the day, expiry, part, piece or not.
Tier = tuple[int, ...]


class _Stock:
    """One supply while it is being shared out: what is left of it, and how much of that is held for its own."""

    __slots__ = ("day", "expiry", "held", "here", "left", "on", "rank", "supply")

    def __init__(self, supply: Supply, today: date) -> None:
        self.supply = supply
        self.on = day_of(supply, today)
        self.day = NEVER if self.on is None else self.on.toordinal()
        self.expiry = NEVER if supply.good_until is None else supply.good_until.toordinal()
        self.rank, self.here = RANK[supply.source], supply.source in HERE
        self.left, self.held = supply.quantity, NOTHING

    @property
    def free(self) -> Decimal:
        return self.left - self.held

    def own(self, want: Want) -> bool:
        return self.supply.reserved_for is not None and self.supply.reserved_for in (want.key, want.group)

    def offered(self, want: Want) -> bool:
        """Say whether a want may have any of it: not another's, in date, and there is enough in one piece."""
        supply = self.supply
        if (supply.firm and not self.own(want)) or (want.one_piece and not supply.one_piece):
            return False
        # What comes on a day that nobody knows is judged by the day it is wanted.
        used = want.wanted_by if self.on is None else max(want.wanted_by, self.on)
        if self.expiry < used.toordinal():
            return False
        return supply.endless or (self.free >= want.quantity if want.one_piece else self.free > 0)

    def tier(self, want: Want) -> Tier:
        """Return where it stands in the order that a want takes things in, the smallest first."""
        strange = int(not self.own(want))
        last = (self.expiry, want.accepts.index(self.supply.part), int(self.supply.one_piece))
        if self.here or self.day <= want.wanted_by.toordinal():
            return (0, strange, self.rank, self.day, *last)
        return (1, self.day, strange, self.rank, *last)


class _ShareOut:
    """Supplies being shared out to wants, one want after the other."""

    def __init__(self, supplies: Iterable[Supply], today: date) -> None:
        self.takes: dict[str, list[Take]] = defaultdict(list)
        self.released: set[int] = set()
        self._claims: dict[str, list[tuple[_Stock, Decimal]]] = defaultdict(list)
        self._of_part: dict[int, list[_Stock]] = defaultdict(list)
        self._reserved: dict[str, list[_Stock]] = defaultdict(list)
        for supply in supplies:
            stock = _Stock(supply, today)
            self._of_part[supply.part].append(stock)
            if supply.reserved_for is not None:
                self._reserved[supply.reserved_for].append(stock)

    def hold(self, wants: Iterable[Want]) -> None:
        """Hold for each want what is reserved for it, as far as it needs it."""
        for want in wants:
            own = [stock for name in {want.key, want.group} for stock in self._reserved.get(name, ())]
            if own:
                mine = [stock for stock in own if stock.supply.part in want.accepts]
                for stock, quantity in self._picks(want, mine, want.quantity):
                    if not stock.supply.endless and not want.bulk:
                        stock.held += quantity
                        self._claims[want.key].append((stock, quantity))

    def serve(self, want: Want) -> bool:
        """Give a want what there is for it now; say whether it is still short."""
        for stock, quantity in self._claims.pop(want.key, ()):
            stock.held -= quantity
            self.released.add(stock.supply.part)
        stocks = [stock for part in {*want.accepts} for stock in self._of_part.get(part, ())]
        for stock, quantity in self._picks(want, stocks, self.short(want)):
            if not stock.supply.endless and not want.bulk:
                self._use(stock, quantity)
            self.takes[want.key].append(Take(stock.supply, quantity, stock.on))
        return self.short(want) > 0

    def _use(self, stock: _Stock, quantity: Decimal) -> None:
        stock.left -= quantity
        if stock.left == 0:
            self._of_part[stock.supply.part].remove(stock)

    def short(self, want: Want) -> Decimal:
        """Return how much of a want is not met; something of no quantity counts as one."""
        if want.bulk:
            return NOTHING if self.takes[want.key] else want.quantity or Decimal(1)
        return want.quantity - sum((take.quantity for take in self.takes[want.key]), NOTHING)

    def _picks(self, want: Want, stocks: Iterable[_Stock], needed: Decimal) -> list[tuple[_Stock, Decimal]]:
        """Return what a want takes of these, in the order of the rule."""
        picks: list[tuple[_Stock, Decimal]] = []
        tiers = [(stock.tier(want), stock.supply.key, stock) for stock in stocks if stock.offered(want)]
        tiers.sort(key=itemgetter(0, 1))
        for tier, rows in groupby(tiers, key=itemgetter(0)):
            alike = [stock for _, _, stock in rows]
            for stock in _by_length(alike, needed) if tier[-1] else alike:
                if needed <= 0:
                    return picks
                enough = stock.supply.endless or want.bulk
                quantity = needed if enough else min(needed, stock.free)
                picks.append((stock, quantity))
                needed -= quantity
        return picks


def _by_length(pieces: list[_Stock], needed: Decimal) -> Iterator[_Stock]:
    """Yield pieces that are otherwise alike: the shortest that will do for what is left, else the longest first."""
    rest = sorted(pieces, key=lambda stock: (stock.free, stock.supply.key))
    while rest:
        will_do = [place for place, stock in enumerate(rest) if stock.free >= needed]
        stock = rest.pop(will_do[0] if will_do else -1)
        yield stock
        needed -= stock.free


def _bought(want: Want) -> int:
    return want.accepts[-1]


def _met(
    want: Want,
    takes: Sequence[Take],
    short: Decimal,
    terms: Mapping[int, Terms],
    arriving: Mapping[int, date | None],
    today: date,
) -> Met:
    buy = _bought(want)
    found = [(_verdict(take, want), take.on) for take in takes]
    late = any(verdict in (Verdict.LATE, Verdict.DAY_UNKNOWN) for verdict, _ in found)
    fresh = arriving[buy] if short > 0 or late else None
    if short > 0:
        found.append((_verdict_of_order(fresh, want), fresh))
    verdicts = tuple(
        sorted({verdict for verdict, _ in found} or {Verdict.HERE}, key=BEST.index, reverse=True)
    )
    days = [today, *(day for _, day in found if day is not None)]
    behind = [(day - want.wanted_by).days for verdict, day in found if verdict != Verdict.HERE and day]
    return Met(
        want=want,
        takes=tuple(takes),
        short=short,
        verdict=verdicts[0],
        verdicts=verdicts,
        late_days=max([0, *behind]),
        order_by=order_by(want.wanted_by, terms.get(buy, UNKNOWN)) if short > 0 else None,
        ready_on=None if any(day is None for _, day in found) else max(days),
        fresh_on=fresh,
        buy=buy,
    )


def _verdict(take: Take, want: Want) -> Verdict:
    if take.supply.source in HERE:
        return Verdict.HERE
    if take.on is None:
        return Verdict.DAY_UNKNOWN
    if take.on > want.wanted_by:
        return Verdict.LATE
    return Verdict.AWAY_IN_TIME if take.supply.source == Source.AWAY else Verdict.IN_TIME


def _verdict_of_order(fresh: date | None, want: Want) -> Verdict:
    if fresh is None:
        return Verdict.ASK
    return Verdict.ORDER_LATE if fresh > want.wanted_by else Verdict.TO_ORDER


def _refuse(wants: Sequence[Want], supplies: Sequence[Supply]) -> None:
    for what, keys in (
        ("A want", [want.key for want in wants]),
        ("A supply", [each.key for each in supplies]),
    ):
        if len(set(keys)) != len(keys):
            raise NettingProblem(f"{what} is there twice.", "twice")
    if not all(want.accepts for want in wants):
        raise NettingProblem("A want without a part cannot be netted.", "no_part")
    quantities = [(row.key, row.quantity) for row in wants] + [(row.key, row.quantity) for row in supplies]
    for key, quantity in quantities:
        if not quantity.is_finite() or quantity < 0:
            raise NettingProblem(f"{shown(key)} has no quantity of nought or more.", "negative")
