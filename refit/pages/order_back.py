"""What came back on orders, or is to: refunds come and applied for, goods going back and sent, and what is still owed.

Reads and words; decides nothing about what may come back. A number of queries that does not grow with the rows.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from refit.boat.models import Boat
from refit.buying.models import (
    COUNTED_STATES,
    Correction,
    Credit,
    CreditKind,
    CreditShare,
    DeliveryLine,
    Line,
    Order,
    Return,
    ReturnLine,
)
from refit.calc.money import from_minor, round_half_up
from refit.calc.numbers import format_quantity
from refit.pages.forms.refunds import Goer
from refit.stores.models import Holding
from refit.stores.reading import with_aside

NIL = Decimal(0)


@dataclass
class CreditRow:
    """One refund of an order."""

    credit: Credit

    @property
    def words(self) -> str:
        """Return what it is for, in its own money where that says more, and what the exchange made of it."""
        credit = self.credit
        home = credit.boat.currency
        words = []
        if credit.currency != home:
            words.append(f"{from_minor(credit.amount, credit.currency):,f} {credit.currency}")
        if credit.came_on and credit.exchange_difference and credit.currency != home:
            more = "more" if credit.exchange_difference > 0 else "less"
            gap = from_minor(abs(credit.exchange_difference), home)
            words.append(f"difference of exchange: {gap:,f} {home} {more} than at the order's rate")
        elif credit.came_on and credit.exchange_difference:
            hoped = from_minor(credit.at_order_rate, home)
            words.append(f"{hoped:,f} was applied for")
        if credit.as_store_credit:
            words.append("as a balance with them")
        return "; ".join(word for word in (*words, credit.reason, credit.reference) if word)


@dataclass
class ReturnRow:
    """Goods of an order that go back, or were sent."""

    back: Return
    lines: list[ReturnLine] = field(default_factory=list)
    settled: str = ""  # how it ended: "refunded", "replaced", or not yet

    @property
    def what(self) -> str:
        return ", ".join(f"{format_quantity(row.quantity)} × {row.line.what}" for row in self.lines)

    @property
    def words(self) -> str:
        """Return why it goes back, and how it was sent."""
        return "; ".join(word for word in (self.back.why, self.back.reference) if word)

    @property
    def worth(self) -> int:
        """Return what these goods cost all in, boat's currency."""
        return sum(
            round_half_up(Fraction(row.line.landed) * Fraction(row.quantity) / Fraction(row.line.wanted))
            for row in self.lines
            if row.line.wanted > 0
        )


@dataclass
class Back:
    """Everything that came back on one order, or is to, and what was changed on it."""

    credits: list[CreditRow]
    returns: list[ReturnRow]
    history: list[Correction]
    net: int
    is_placed: bool
    can_go_back: bool


@dataclass(frozen=True)
class Owed:
    """Something that is owed to us: by whom, since when, how much."""

    what: str
    state: str
    who: str
    order: Order
    since: date
    amount: int
    days: int
    credit: Credit | None = None
    back: Return | None = None


def back_of(order: Order, lines: Iterable[Line]) -> Back:
    """Return what came back on an order, or is to, in a fixed number of queries."""
    returns = returns_of(Return.objects.filter(order=order))
    gone: dict[int, Decimal] = defaultdict(lambda: NIL)
    for row in returns:
        for line in row.lines:
            gone[line.line_id] += line.quantity
    history = Correction.objects.filter(order=order).select_related("by").order_by("-id")
    return Back(
        credits=credits_of(order),
        returns=returns,
        history=list(history),
        net=order.landed - order.refunded,
        is_placed=order.state in COUNTED_STATES,
        can_go_back=any(line.arrived - gone[line.pk] > 0 for line in lines),
    )


def credits_of(order: Order) -> list[CreditRow]:
    """Return an order's refunds, in the order they were written down."""
    found = Credit.objects.filter(order=order).select_related("boat").order_by("id")
    return [CreditRow(credit) for credit in found]


def returns_of(found: Any) -> list[ReturnRow]:
    """Return these returns with their lines, each with how it ended, in four queries."""
    rows = {back.pk: ReturnRow(back) for back in found.select_related("order__supplier", "by").order_by("id")}
    lines = ReturnLine.objects.filter(back__in=list(rows)).select_related("line__part").order_by("id")
    for line in lines:
        rows[line.back_id].lines.append(line)
    wanted = {line.line_id for row in rows.values() for line in row.lines}
    refunds: dict[int, list[CreditShare]] = defaultdict(list)
    paid = CreditShare.objects.filter(line__in=list(wanted), credit__kind=CreditKind.GOODS)
    for share in paid.select_related("credit"):
        refunds[share.line_id].append(share)
    replaced = set(
        Line.objects.filter(replaces__in=list(wanted), order__state__in=COUNTED_STATES).values_list(
            "replaces", flat=True
        )
    )
    left = {line: sum(share.home for share in shares) for line, shares in refunds.items()}
    for row in rows.values():
        row.settled = _settled(row, refunds, left, replaced)
    return list(rows.values())


def _settled(
    row: ReturnRow, refunds: dict[int, list[CreditShare]], left: dict[int, int], replaced: set[int | None]
) -> str:
    """Return how goods that went back ended: refunded, asked for, or replaced; nothing while they are owed.

    A refund names no return. What was refunded for goods of a line settles the line's returns in turn, each if half
    of what it cost is there: postage and restocking are often kept back.
    """
    if row.lines and all(line.line_id in replaced for line in row.lines):
        return "replaced"
    mine = [share for line in row.lines for share in refunds[line.line_id]]
    there = sum(left[line] for line in {line.line_id for line in row.lines} if line in left)
    if not mine or 2 * there < row.worth or there <= 0:
        return ""
    rest = row.worth
    for line in row.lines:
        used = min(left.get(line.line_id, 0), rest)
        left[line.line_id] = left.get(line.line_id, 0) - used
        rest -= used
    return "refunded" if all(share.credit.came_on for share in mine) else "refund applied for"


def owed(boat: Boat, today: date) -> list[Owed]:
    """Return all that is owed to us, the oldest first: refunds applied for, goods back and no money yet."""
    found = []
    asked = Credit.objects.filter(boat=boat, came_on=None).select_related("order__supplier")
    for credit in asked.order_by("id"):
        since: Any = credit.applied_on
        seller = credit.order.supplier.name
        who = f"the tax office (bought from {seller})" if credit.kind == CreditKind.TAX else seller
        found.append(
            Owed(
                credit.get_kind_display(),
                "applied for",
                who,
                credit.order,
                since,
                credit.home,
                (today - since).days,
                credit=credit,
            )
        )
    for row in returns_of(Return.objects.filter(boat=boat)):
        if row.settled:
            continue
        back = row.back
        state = "sent, no refund yet" if back.sent_on else "going back, not sent yet"
        since = back.sent_on or back.said_on
        found.append(
            Owed(
                row.what,
                state,
                back.order.supplier.name,
                back.order,
                since,
                row.worth,
                (today - since).days,
                back=back,
            )
        )
    return sorted(found, key=lambda row: (row.since, row.order.number))


def goers(order: Order) -> list[Goer]:
    """Return the lines of an order of which something came and has not gone back, and where they lie."""
    lines = list(order.lines.filter(arrived__gt=0).select_related("part", "order").order_by("position"))
    gone: dict[int, Decimal] = defaultdict(lambda: NIL)
    for row in ReturnLine.objects.filter(line__in=lines):
        gone[row.line_id] += row.quantity
    came: dict[int, set[int]] = defaultdict(set)
    arrived = DeliveryLine.objects.filter(line__in=lines, delivery__undone_at=None, part__isnull=False)
    lots: dict[int, set[int | None]] = defaultdict(set)
    for pk, part, lot in arrived.values_list("line_id", "part_id", "lot_id"):
        came[pk].add(part)
        lots[pk].add(lot)
    parts = {part for some in came.values() for part in some}
    lying: dict[int, list[Any]] = defaultdict(list)
    held = with_aside(Holding.objects.filter(boat=order.boat, part__in=parts, quantity__gt=0))
    for holding in held.select_related("part", "lot", "place__area").order_by("place__mark_sort", "id"):
        holding.free = holding.quantity - holding.aside
        if holding.free > 0:
            lying[holding.part_id].append(holding)
    found = []
    for line in lines:
        left = line.arrived - gone[line.pk]
        if left > 0:
            spots = [holding for part in sorted(came[line.pk]) for holding in lying[part]]
            # What came on this line has its batch: that is offered first.
            spots.sort(key=lambda holding: holding.lot_id not in lots[line.pk])
            found.append(Goer(line, left, spots))
    return found
