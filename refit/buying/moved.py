"""Why the forecast moved since a day: named items that add up, system by system, to what it moved.

Both days are taken apart into the same pieces (`forecast.Book`); an item is what one of them made of the difference,
so that the sum is exact by how it is made. Where an order was placed since for what had been foreseen, the two stand
as one item, which says what had been foreseen.
"""

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import date

from refit.buying.book import EstimateRow, NeedRow
from refit.buying.forecast import Book, Kind, Piece
from refit.buying.models import OrderState
from refit.calc.numbers import format_quantity

Key = tuple[str, int, int | None]  # what kind, which, under which system
ORDER = "order"  # an order counts as one thing, placed or not


@dataclass(frozen=True)
class Item:
    """One reason: under which system, how much (minor units), in words, and where it is written down."""

    system: int | None
    amount: int
    words: str
    order: int | None = None  # its number
    job: int | None = None  # its number
    foreseen: int = 0


@dataclass(frozen=True)
class BudgetChange:
    """A budget that was set since: what it was before, what it is."""

    system: int
    before: int | None
    now: int

    @property
    def amount(self) -> int:
        return self.now - (self.before or 0)


@dataclass(frozen=True)
class Moved:
    """How the forecast stood then and stands now by system, why, and what became of the budgets."""

    then: dict[int | None, int]
    now: dict[int | None, int]
    items: list[Item]
    budgets: list[BudgetChange]
    contingency: tuple[int | None, int | None] = (None, None)

    @property
    def difference(self) -> int:
        return sum(self.now.values()) - sum(self.then.values())


def moved(book: Book, then: date, now: date) -> Moved:
    """Return why the forecast moved from the end of one day to the end of another."""
    before, after = book.pieces(then), book.pieces(now)
    return Moved(
        then=_by_system(before),
        now=_by_system(after),
        items=_Reasons(book, then, now, _by_key(before), _by_key(after)).all(),
        budgets=_budgets(book.budgets(then), book.budgets(now)),
        contingency=(book.contingency(then), book.contingency(now)),
    )


def _by_system(pieces: list[Piece]) -> dict[int | None, int]:
    found: dict[int | None, int] = defaultdict(int)
    for piece in pieces:
        found[piece.system] += piece.amount
    return dict(found)


def _by_key(pieces: list[Piece]) -> dict[Key, int]:
    found: dict[Key, int] = defaultdict(int)
    for piece in pieces:
        kind = ORDER if piece.kind in (Kind.ORDERED, Kind.DRAFT) else piece.kind
        found[(kind, piece.of, piece.system)] += piece.amount
    return dict(found)


def _budgets(then: dict[int, int], now: dict[int, int]) -> list[BudgetChange]:
    return [
        BudgetChange(system, then.get(system), amount)
        for system, amount in now.items()
        if then.get(system) != amount
    ]


@dataclass
class _Reasons:
    """The pieces of two days, and the items that they make."""

    book: Book
    then: date
    now: date
    before: dict[Key, int]
    after: dict[Key, int]
    needs: dict[int, NeedRow] = field(init=False)
    plans: dict[int, EstimateRow] = field(init=False)

    def __post_init__(self) -> None:
        self.needs = {row.pk: row for row in self.book.rows.needs}
        self.plans = {row.pk: row for row in self.book.rows.estimates}

    def all(self) -> list[Item]:
        """Return the items, the greatest first within each system."""
        new: dict[tuple[int, int | None], Item] = {}  # by order and system: orders that came in since
        items: list[Item] = []
        rest: list[tuple[Key, int]] = []
        for key in {**self.before, **self.after}:
            kind, pk, system = key
            difference = self.after.get(key, 0) - self.before.get(key, 0)
            if kind != ORDER:
                rest.append((key, difference))
            elif not self.book.state_on(self.book.rows.orders[pk], self.then):
                new[(pk, system)] = self._new_order(pk, system, difference)
            else:
                items += self._older_order(pk, system, difference)
        for key, difference in rest:
            if difference:
                items += self._other(key, difference, new)
        items += [item for item in new.values() if item.amount or item.foreseen]
        return sorted(items, key=lambda item: (item.system or 0, -abs(item.amount), item.words))

    def _new_order(self, pk: int, system: int | None, amount: int) -> Item:
        order = self.book.rows.orders[pk]
        words = self._what(pk, system)
        if order.state == OrderState.DRAFT:
            words += " (not ordered yet)"
        return Item(system, amount, words, order=order.number)

    def _older_order(self, pk: int, system: int | None, difference: int) -> list[Item]:
        """Return what was changed on an order that was there: its steps since, by what they say."""
        order = self.book.rows.orders[pk]
        if self.book.state_on(order, self.then) == "draft":
            words = f"{self._what(pk, system)}, foreseen before it was ordered"
            return [Item(system, difference, words, order=order.number)] if difference else []
        sums: dict[str, int] = defaultdict(int)
        for step in self.book.rows.steps_of[pk]:
            if step.system == system and self.then < step.day <= self.now:
                sums[step.words or "changed"] += step.difference
        name = self._what(pk, system)
        return [
            Item(system, amount, f"{name}: {words[:1].lower()}{words[1:]}", order=order.number)
            for words, amount in sums.items()
            if amount
        ]

    def _other(self, key: Key, difference: int, new: dict[tuple[int, int | None], Item]) -> list[Item]:
        kind, pk, system = key
        if kind == Kind.REFUND:
            row = next(row for row in self.book.rows.refunds if row.credit == pk)
            number = self.book.rows.orders[row.order].number
            return [Item(system, difference, f"Money back: {_lower(row.words)}", order=number)]
        into = self._ordered_since(key, new) if difference < 0 else None
        if into is not None:
            item = new[into]
            new[into] = replace(item, amount=item.amount + difference, foreseen=item.foreseen - difference)
            return []
        words, job = self._wanted(pk, key) if kind == Kind.WANTED else self._estimate(pk, key)
        return [Item(system, difference, words, job=self.book.rows.jobs[job].number)]

    def _ordered_since(
        self, key: Key, new: dict[tuple[int, int | None], Item]
    ) -> tuple[int, int | None] | None:
        """Return the order that came in since for what this piece had foreseen, under the same system."""
        kind, pk, system = key
        plan = self.plans[pk] if kind == Kind.ESTIMATE else None
        if plan is not None and plan.is_open_on(self.now):
            return None
        for order, under in new:
            if under != system:
                continue
            for line in self.book.rows.lines_of[order]:
                if plan is not None and line.service and line.job == plan.job:
                    return (order, under)
                need = self.needs[pk] if plan is None else None
                if need is not None and need.part and (line.part, line.job) == (need.part, need.job):
                    return (order, under)
        return None

    def _wanted(self, pk: int, key: Key) -> tuple[str, int]:
        need = self.needs[pk]
        unit = f" {need.unit}" if need.unit else ""
        much = f"{format_quantity(need.quantity)}{unit} × {need.what}"
        if key not in self.before:
            word = "wanted since" if need.made_on > self.then else "wanted, now with a price"
        elif key not in self.after:
            word = "no longer to buy"
        else:
            word = "other price, or part of it bought"
        return f"{much}: {word}", need.job

    def _estimate(self, pk: int, key: Key) -> tuple[str, int]:
        row = self.plans[pk]
        if key not in self.before:
            return f"{row.words}: estimated since", row.job
        word = "estimate changed" if key in self.after else "estimate closed"
        return f"{row.words}: {word}", row.job

    def _what(self, pk: int, system: int | None) -> str:
        """Return what an order is for under a system: its first line there, and how many more."""
        lines = self.book.rows.lines_of[pk]
        mine = [line for line in lines if line.system == system] or lines
        more = f" and {len(mine) - 1} more" if len(mine) > 1 else ""
        return f"{mine[0].what}{more}" if mine else "taken off"


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]
