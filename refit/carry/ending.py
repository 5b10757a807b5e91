"""How the money ends, as people read it: systems against their budgets, what is still to come, month by month.

What a forecast is made of, `buying.forecast` decides. Narrowed as spend is narrowed: a filter by days leaves nothing
to come, for what is not ordered has no day of ordering; under a supplier only orders not placed yet are known.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from refit.boat.models import Boat, System
from refit.buying import spend
from refit.buying.book import OrderRow, read
from refit.buying.forecast import Book, Kind, Piece, Sums, added, by
from refit.buying.spend import Fact, Filters, Money
from refit.calc.dates import last_day_of_month


def book_of(boat: Boat) -> Book:
    """Return the book that a boat's forecast is read from."""
    return Book(read(boat))


def coming(boat: Boat, filters: Filters, on: date) -> list[Piece]:
    """Return what is still to come under the filters, as seen on a day."""
    if filters.since or filters.until:
        return []
    inside = None
    if filters.group:
        inside = set(System.objects.filter(boat=boat, group=filters.group).values_list("pk", flat=True))
    return [
        piece
        for piece in book_of(boat).to_come(on)
        if (not filters.job or piece.job == filters.job)
        and (not filters.no_job or piece.job is None)
        and (not filters.supplier or piece.supplier == filters.supplier)
        and (not filters.system or piece.system == filters.system)
        and (inside is None or piece.system in inside)
    ]


@dataclass(frozen=True)
class Row:
    """One system (None: no system yet), or all: its budget and what it comes to."""

    system: System | None
    budget: int | None
    sums: Sums

    @property
    def over(self) -> int:
        return max(self.sums.total - self.budget, 0) if self.budget is not None else 0

    @property
    def under(self) -> int:
        return max((self.budget or 0) - self.sums.total, 0)


@dataclass(frozen=True)
class Thing:
    """One thing still to come: in words, for which job or on which order, and what it may cost."""

    words: str
    amount: int | None
    kind: str
    job: int | None = None
    job_title: str = ""
    order: int | None = None
    quantity: Decimal | None = None
    unit: str = ""
    guessed: bool = False


@dataclass(frozen=True)
class Ending:
    """The forecast of a boat as it stands."""

    rows: list[Row]
    whole: Row
    contingency: int | None
    guessed: int
    things: list[Thing]
    without: list[Thing]
    first_list: Sums
    found: Sums
    no_job: Sums


def ending(boat: Boat, on: date) -> Ending:
    """Return how the money ends as it stands on a day, in a fixed number of queries."""
    book = book_of(boat)
    pieces, budgets = book.pieces(on), book.budgets(on)
    sums = by(pieces, "system")
    rows = [
        Row(system, budgets.get(system.pk), sums.get(system.pk, Sums()))
        for system in spend.systems(boat)
        if system.pk in {*sums, *budgets} or not system.retired_at
    ]
    if None in sums:
        rows.append(Row(None, None, sums[None]))
    total = sum(budgets.values()) if budgets else None
    things = _things(book, on)
    first, found, no_job = _lists(book, spend.facts(boat, Filters()), pieces)
    return Ending(
        rows=rows,
        whole=Row(None, total, added(pieces)),
        contingency=book.contingency(on),
        guessed=sum(thing.amount or 0 for thing in things if thing.guessed),
        things=sorted((t for t in things if t.amount is not None), key=lambda t: -(t.amount or 0)),
        without=[thing for thing in things if thing.amount is None],
        first_list=first,
        found=found,
        no_job=no_job,
    )


def _things(book: Book, on: date) -> list[Thing]:
    found = []
    sums = by([piece for piece in book.to_come(on) if piece.kind == Kind.DRAFT], "of")
    for pk, drafted in sums.items():
        order = book.rows.orders[pk or 0]
        found.append(_draft(book, order, drafted.total))
    for wish in book.wishes(on):
        words, job = wish.need.what, wish.job
        found.append(
            Thing(
                *(words, wish.amount, "to buy", job.number, job.title, None),
                quantity=wish.to_buy,
                unit=wish.need.unit,
                guessed=wish.guessed,
            )
        )
    for row, amount in book.estimates(on):
        job = book.rows.jobs[row.job]
        found.append(Thing(row.words, amount, "estimate", job.number, job.title))
    return found


def _draft(book: Book, order: OrderRow, amount: int) -> Thing:
    lines = book.rows.lines_of[order.pk]
    more = f" and {len(lines) - 1} more" if len(lines) > 1 else ""
    return Thing(f"{lines[0].what}{more}" if lines else "", amount, "not ordered yet", order=order.number)


def _lists(book: Book, facts: list[Fact], pieces: list[Piece]) -> tuple[Sums, Sums, Sums]:
    """Return what the first list of jobs comes to, what was found on the way, and what is for no job."""
    found = {True: Sums(), False: Sums(), None: Sums()}

    def of(job: int | None) -> Sums:
        return found[book.rows.jobs[job].found_on_the_way if job else None]

    for fact in facts:
        of(fact.job).ordered += fact.ordered
    for piece in pieces:
        if piece.kind not in (Kind.ORDERED, Kind.REFUND):
            of(piece.job).add(piece)
    return found[False], found[True], found[None]


@dataclass(frozen=True)
class Month:
    """How things stood at the end of a month (or today): all sums since the beginning."""

    end: date
    ordered: int
    arrived: int
    paid: int
    forecast: int
    budget: int | None


MOST_MONTHS = 60


def over_time(boat: Boat, on: date) -> list[Month]:
    """Return month by month what was ordered, had arrived and was paid in all, and how forecast and budget stood."""
    months = spend.by_month(boat, spend.facts(boat, Filters()))
    if not months:
        return []
    book, running = book_of(boat), Money()
    found = []
    end = last_day_of_month(date.fromisoformat(f"{min(months)}-01"))
    last = last_day_of_month(max(on, date.fromisoformat(f"{max(months)}-01")))
    while end <= last:
        running.add(months.get(f"{end:%Y-%m}", Money()))
        day = min(end, on)
        budgets = book.budgets(day)
        found.append(
            Month(
                day,
                running.ordered,
                running.delivered,
                running.paid,
                added(book.pieces(day)).total,
                sum(budgets.values()) if budgets else None,
            )
        )
        end = last_day_of_month(end + timedelta(days=1))
    return found[-MOST_MONTHS:]
