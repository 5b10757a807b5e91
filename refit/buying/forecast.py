"""Where the money ends: what was ordered, what is still to come, and how both stood on any earlier day.

Forecast = ordered, net of refunds + still to come, which is: orders not placed yet, parts that jobs want and nobody
has bought (at the best price known, else at a typed guess), and estimates that are not ordered yet. It is worked out
from dated facts alone, so that any day can be asked for. Three things have no day and count as they are now on every
day: which jobs are put off (they are in no forecast), what was thrown away or taken off a list, and what an order
that is not placed yet comes to. A thing without a price and without a guess is counted, never taken for nothing.

The book is read once, in a fixed number of queries; what it says of a day costs none.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from refit.buying.book import EstimateRow, JobRow, LineRow, NeedRow, OrderRow, Rows
from refit.buying.models import OrderState
from refit.calc.forecast import best_each, part_of_guess, worth
from refit.work.models import OPEN_STATES, Before, State

NIL = Decimal(0)
Key = tuple[int, int]  # job and part


class Kind(StrEnum):
    ORDERED = "ordered"
    REFUND = "refund"
    DRAFT = "draft"
    WANTED = "wanted"
    ESTIMATE = "estimate"


@dataclass(frozen=True)
class Piece:
    """So much of a forecast: what of (an order, a refund, a need, an estimate), and what it counts under."""

    kind: Kind
    of: int
    amount: int
    system: int | None
    job: int | None = None
    supplier: int | None = None


@dataclass(frozen=True)
class Wish:
    """A thing that a job wants and nobody has bought: how much, and what that may cost (None: nobody knows)."""

    need: NeedRow
    job: JobRow
    to_buy: Decimal
    amount: int | None
    guessed: bool


@dataclass
class Sums:
    """What one system (or job, or all) comes to in the end."""

    ordered: int = 0
    drafts: int = 0
    wanted: int = 0
    estimates: int = 0

    @property
    def to_come(self) -> int:
        return self.drafts + self.wanted + self.estimates

    @property
    def total(self) -> int:
        return self.ordered + self.to_come

    def add(self, piece: Piece) -> None:
        """Add a piece where it belongs."""
        name = {
            Kind.ORDERED: "ordered",
            Kind.REFUND: "ordered",
            Kind.DRAFT: "drafts",
            Kind.WANTED: "wanted",
            Kind.ESTIMATE: "estimates",
        }[piece.kind]
        setattr(self, name, getattr(self, name) + piece.amount)


@dataclass
class Book:
    """Everything that a forecast is made of; ask it for any day."""

    rows: Rows
    _prices: dict[int, list[tuple[date, int, Decimal]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._prices = defaultdict(list)
        for line in self.rows.lines:
            order = self.rows.orders[line.order]
            if line.part and line.sets_a_price and order.ordered_on:
                self._prices[line.part].append((order.ordered_on, line.landed, line.wanted))
        for some in self._prices.values():
            some.sort(key=lambda row: row[0])

    def pieces(self, day: date) -> list[Piece]:
        """Return all that the forecast is made of, as it stood at the end of a day."""
        return [*self.ordered(day), *self.to_come(day)]

    def ordered(self, day: date) -> list[Piece]:
        """Return what had been ordered and what had come back by a day."""
        found: dict[tuple[int, int], int] = defaultdict(int)
        for step in self.rows.steps:
            if step.day <= day:
                found[(step.order, step.system)] += step.difference
        pieces = [Piece(Kind.ORDERED, order, amount, system) for (order, system), amount in found.items()]
        back: dict[tuple[int, int], int] = defaultdict(int)
        for row in self.rows.refunds:
            if row.day <= day:
                back[(row.credit, row.system)] += row.home
        return [*pieces, *(Piece(Kind.REFUND, pk, -home, system) for (pk, system), home in back.items())]

    def to_come(self, day: date) -> list[Piece]:
        """Return what was still to come as seen on a day: drafts, parts wanted that have a price, estimates."""
        found = self._drafts(day)
        for wish in self.wishes(day):
            if wish.amount is not None:
                found.append(Piece(Kind.WANTED, wish.need.pk, wish.amount, wish.job.system, wish.job.pk))
        for row, amount in self.estimates(day):
            job = self.rows.jobs[row.job]
            found.append(Piece(Kind.ESTIMATE, row.pk, amount, job.system, job.pk))
        return found

    def wishes(self, day: date) -> list[Wish]:
        """Return what jobs wanted on a day and nobody had bought, needs of a job in their order."""
        supply = self._supply(day)
        found = []
        for need in self.rows.needs:
            job = self.rows.jobs[need.job]
            if need.made_on > day:
                continue
            to_buy = need.quantity
            if need.part:
                to_buy -= supply.draw((need.job, need.part), need.quantity)
            met = need.met_on is not None and need.met_on <= day
            if to_buy > 0 and not met and wants_still(job, day):
                amount, guessed = self._worth(need, to_buy, day)
                found.append(Wish(need, job, to_buy, amount, guessed))
        return found

    def estimates(self, day: date) -> list[tuple[EstimateRow, int]]:
        """Return the estimates that were open on a day, as they stood."""
        found = []
        for row in self.rows.estimates:
            job = self.rows.jobs[row.job]
            amount = row.amount_on(day)
            if row.is_open_on(day) and amount is not None and not put_off(job):
                found.append((row, amount))
        return found

    def state_on(self, order: OrderRow, day: date) -> str:
        """Return how far an order was on a day: `` (not there), `draft` or `placed`."""
        if order.state == OrderState.CANCELLED and (
            order.ordered_on is None or (order.ordered_on <= day and not self.cost_on(order.pk, day))
        ):
            return ""
        if order.state != OrderState.DRAFT and order.ordered_on and order.ordered_on <= day:
            return "placed"
        return "draft" if order.entered_on <= day else ""

    def cost_on(self, order: int, day: date) -> int:
        """Return what an order came to on a day, before refunds."""
        return sum(step.difference for step in self.rows.steps_of[order] if step.day <= day)

    def best_each(self, part: int, day: date) -> Fraction | None:
        """Return the best price known of one of a part on a day."""
        known = [(cost, quantity) for bought, cost, quantity in self._prices.get(part, ()) if bought <= day]
        return best_each(known)

    def budgets(self, day: date) -> dict[int, int]:
        """Return each system's budget as it stood on a day."""
        return {row.system: row.amount for row in self.rows.budgets if row.set_on <= day}

    def contingency(self, day: date) -> int | None:
        """Return what was kept back for the unforeseen on a day; None where nothing was said."""
        known = [amount for set_on, amount in self.rows.contingencies if set_on <= day]
        return known[-1] if known else None

    def _worth(self, need: NeedRow, to_buy: Decimal, day: date) -> tuple[int | None, bool]:
        each = self.best_each(need.part, day) if need.part else None
        if each is not None:
            return worth(to_buy, each), False
        if need.guess is not None:
            return part_of_guess(need.guess, to_buy, need.quantity), True
        return None, False

    def _drafts(self, day: date) -> list[Piece]:
        found: dict[tuple[int, int | None, int | None], int] = defaultdict(int)
        for order in self.rows.orders.values():
            if self.state_on(order, day) != "draft":
                continue
            if order.state == OrderState.DRAFT:
                for line in self.rows.lines_of[order.pk]:
                    found[(order.pk, self._system(line), line.job)] += line.landed
            else:  # placed since: it was foreseen at what it came to when it was placed
                for step in self.rows.steps_of[order.pk]:
                    if step.placing:
                        found[(order.pk, step.system, None)] += step.difference
        return [
            Piece(Kind.DRAFT, order, amount, system, job, self.rows.orders[order].supplier)
            for (order, system, job), amount in found.items()
        ]

    def _system(self, line: LineRow) -> int | None:
        return line.system or (self.rows.jobs[line.job].system if line.job else None)

    def _supply(self, day: date) -> "Supply":
        """Return what was taken for jobs, came, is coming and is about to be ordered for them by a day."""
        found = Supply()
        for row in self.rows.takings:
            if row.day <= day:
                found.taken[(row.job, row.part)] += row.quantity
        for line in self.rows.lines:
            if not line.part or not line.job:
                continue
            key = (line.job, line.part)
            state = self.state_on(self.rows.orders[line.order], day)
            if state == "draft":
                found.drafted[key] += line.quantity
            elif state == "placed":
                came = sum((row.quantity for row in self.rows.came[line.pk] if row.day <= day), NIL)
                gone = sum((row.wont_come for row in self.rows.came[line.pk] if row.day <= day), NIL)
                found.coming[key] += max(line.quantity - gone - came, NIL)
                back = sum((much for since, much in self.rows.back[line.pk] if since <= day), NIL)
                found.arrived[key] += came - back
        for key, quantity in found.arrived.items():
            found.arrived[key] = max(quantity - found.taken[key], NIL)
        return found


@dataclass
class Supply:
    """What there is towards the needs of jobs, set against them in their order, once."""

    taken: dict[Key, Decimal] = field(default_factory=lambda: defaultdict(lambda: NIL))
    coming: dict[Key, Decimal] = field(default_factory=lambda: defaultdict(lambda: NIL))
    arrived: dict[Key, Decimal] = field(default_factory=lambda: defaultdict(lambda: NIL))
    drafted: dict[Key, Decimal] = field(default_factory=lambda: defaultdict(lambda: NIL))

    def draw(self, key: Key, most: Decimal) -> Decimal:
        """Set what there is against a need; return how much of it is provided for."""
        left = most
        for store in (self.taken, self.coming, self.arrived, self.drafted):
            some = max(min(left, store[key]), NIL)
            store[key] -= some
            left -= some
        return most - left


def put_off(job: JobRow) -> bool:
    """Return whether a job is not of this refit: put off, or for another year."""
    return job.state == State.LATER or job.before == Before.ANOTHER_YEAR


def wants_still(job: JobRow, day: date) -> bool:
    """Return whether a job's parts counted on a day: it was not done yet, and is not put off."""
    if put_off(job):
        return False
    return job.state in OPEN_STATES or (job.done_on is not None and job.done_on > day)


def by(pieces: Iterable[Piece], name: str) -> dict[int | None, Sums]:
    """Return the sums by `system`, `job` or `supplier`."""
    found: dict[int | None, Sums] = defaultdict(Sums)
    for piece in pieces:
        found[getattr(piece, name)].add(piece)
    return dict(found)


def added(pieces: Iterable[Piece]) -> Sums:
    """Return the sums of all pieces."""
    found = Sums()
    for piece in pieces:
        found.add(piece)
    return found
