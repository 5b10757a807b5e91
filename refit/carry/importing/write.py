"""Writing what was checked: through the program's own actions, all of it or nothing.

Decides the order in which things are made and says how far it is. What is refused on the way comes back as a fault,
with nothing written.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from refit.boat.actions.boats import add_systems, lock, set_budget
from refit.boat.actions.places import add_place
from refit.boat.models import Boat, System
from refit.buying.actions.orders import add_supplier
from refit.buying.actions.past import PastOrder, write_past
from refit.buying.actions.refunds import Refund, add_refund
from refit.buying.actions.writing import ChargeFacts, LineFacts, OrderFacts
from refit.buying.models import CreditKind, LineKind, Order
from refit.buying.rates import published
from refit.calc.text import fold
from refit.carry.importing.bills import Bill, arrivals
from refit.carry.importing.check import Checked
from refit.carry.importing.purchases import Back, NewOrder
from refit.carry.importing.world import NewJob, NewPart, NewPlace, NewSupplier, NewSystem, real
from refit.stores.actions.ledger import Move, record
from refit.stores.actions.parts import add_number, add_part
from refit.stores.actions.stow import lot_of
from refit.stores.models import EntryKind, Kept, Reason
from refit.work.actions import add_job, set_state
from refit.work.models import State

AT_A_TIME = 200
PLURALS = {"thing in its place": "things in their places", "number of a part": "numbers of parts"}
Said = Callable[[str, int, int], None]


class NotWritten(Exception):
    """Something was refused on the way; nothing was written. The message says what and why."""


@dataclass
class Written:
    """What was made."""

    systems: int = 0
    suppliers: int = 0
    places: int = 0
    parts: int = 0
    put_in: int = 0
    jobs: int = 0
    orders: int = 0
    lines: int = 0
    refunds: int = 0
    budgets: int = 0
    numbers: int = 0

    WORDS = (
        ("orders", "order"), ("lines", "line"), ("refunds", "refund"), ("parts", "part"), ("put_in", "thing in its place"),
        ("places", "place"), ("jobs", "job"), ("suppliers", "supplier"), ("systems", "system"), ("budgets", "budget"),
        ("numbers", "number of a part"),
    )  # fmt: skip

    @property
    def said(self) -> str:
        """Return what was made, in words: 12 orders, 40 lines, 3 suppliers."""
        some = []
        for key, word in self.WORDS:
            count = getattr(self, key)
            plural = PLURALS.get(word, f"{word}s")
            if count:
                some.append(f"{count:,} {word if count == 1 else plural}")
        return ", ".join(some) or "nothing new"


def _quiet(what: str, at: int, of: int) -> None:
    """Say nothing."""


def write(boat: Boat, done: Checked, *, by: Any, today: date, name: str, say: Said = _quiet) -> Written:
    """Write everything that was checked as right, in one transaction."""
    try:
        with transaction.atomic():
            return _Writer(lock(boat), done, by, today, name, say).all()
    except ValidationError as refused:
        raise NotWritten(" ".join(refused.messages)) from None


class _Writer:
    def __init__(self, boat: Boat, done: Checked, by: Any, today: date, name: str, say: Said) -> None:
        self.boat, self.done, self.by, self.today = boat, done, by, today
        self.name, self.say, self.written = name, say, Written()

    def all(self) -> Written:
        self._systems()
        self._suppliers()
        self._places()
        self._jobs()
        self._parts()
        self._stock()
        self._orders()
        self._refunds()
        return self.written

    def _each(self, what: str, rows: Sequence[Any]) -> Any:
        for at, row in enumerate(rows):
            if at % AT_A_TIME == 0:
                self.say(what, at, len(rows))
            yield row
        if rows:
            self.say(what, len(rows), len(rows))

    def _systems(self) -> None:
        rows: list[Any] = self.done.world.new[NewSystem]
        add_systems(self.boat, [(row.name, row.group, row.of_the_boat) for row in rows])
        made = {system.folded: system for system in System.objects.filter(boat=self.boat)}
        for row in rows:
            row.made = made[fold(row.name)[:120]]
        self.written.systems = len(rows)
        for system, amount in self._each("budgets", self.done.budgets):
            set_budget(real(system), amount, on=self.today, by=self.by, note=f"From {self.name}"[:200])
        self.written.budgets = len(self.done.budgets)

    def _suppliers(self) -> None:
        rows = self.done.world.new[NewSupplier]
        for row in self._each("suppliers", rows):
            row.made = add_supplier(self.boat, row.name, **row.facts)
        self.written.suppliers = len(rows)

    def _places(self) -> None:
        rows = self.done.world.new[NewPlace]
        for row in self._each("places", rows):
            parent = real(row.parent) if row.parent is not None else None
            row.made = add_place(
                self.boat, kind=row.kind, parent=parent, mark=row.mark, name=row.name, **row.facts
            )
        self.written.places = len(rows)

    def _jobs(self) -> None:
        rows = sorted(self.done.world.new[NewJob], key=lambda row: row.number or 10**7)
        for row in self._each("jobs", rows):
            facts = {key: row.facts[key] for key in ("before", "note", "given_to") if key in row.facts}
            job = add_job(
                self.boat, title=row.title, system=real(row.system), by=self.by, number=row.number, **facts
            )
            state = row.facts.get("state", State.PLANNED)
            if state != State.PLANNED:
                job = set_state(job, state, today=row.facts.get("done_on") or self.today)
            row.made = job
        self.written.jobs = len(rows)

    def _parts(self) -> None:
        rows = self.done.world.new[NewPart]
        for row in self._each("parts", rows):
            system = real(row.system) if row.system is not None else None
            row.made = add_part(self.boat, name=row.name, numbers=row.numbers, system=system, **row.facts)
        self.written.parts = len(rows)
        for part, (kind, number, whose) in self._each("numbers", self.done.numbers):
            add_number(part, kind=kind, number=number, whose=whose)
        self.written.numbers = len(self.done.numbers)

    def _stock(self) -> None:
        rows = list(self.done.stock.values())
        moves = []
        for row in self._each("things in their places", rows):
            part, place = real(row.part), real(row.place)
            lot = lot_of(part, row.serial, row.expires)
            if part.kept == Kept.COUNTED:
                if row.quantity > 0:
                    moves.append(Move(part, Reason.OPENING, row.quantity, to_place=place, lot=lot))
            else:
                moves.append(Move(part, Reason.OPENING, to_place=place, lot=lot, level=row.level))
        self.written.put_in = len(moves)
        for start in range(0, len(moves), 500):
            some = moves[start : start + 500]
            said = f"Put in {len(some)} thing{'s' if len(some) != 1 else ''} from {self.name}."
            record(self.boat, EntryKind.PUT_IN, said, some, by=self.by, on=self.today, today=self.today)

    def _orders(self) -> None:
        rows = self.done.orders
        for start in range(0, len(rows), AT_A_TIME):
            self.say("orders", start, len(rows))
            some = rows[start : start + AT_A_TIME]
            past = [self._past(order) for order in some]
            for order, made in zip(
                some, write_past(self.boat, past, by=self.by, today=self.today), strict=True
            ):
                order.order = made
                self.written.lines += len(order.items)
        self.written.orders = len(rows)
        if rows:
            self.say("orders", len(rows), len(rows))

    def _past(self, order: NewOrder) -> PastOrder:
        bill = order.bill
        own = bill.first.plan.is_own
        given = str(bill.first.get("order") or "")
        number = int(given) if own and given.isdecimal() and len(given) < 7 else None
        reference = bill.first.get("reference") or ("" if number else given)
        notes = dict.fromkeys(row.get("note") for row in bill.rows if row.get("note"))
        facts = OrderFacts(
            supplier=real(order.supplier),
            currency=bill.currency,
            lines=[self._line(order, place) for place in range(len(order.items))],
            charges=[
                ChargeFacts(
                    kind,
                    amount,
                    currency=currency,
                    basis=bill.bases.get(place, "value"),
                    expected=kind in bill.expected,
                    lines=lines,
                    words="" if bill.first.get("sold") else _words(kind, lines),
                )
                for place, (kind, amount, currency, lines) in enumerate(bill.charges)
                if amount
            ],
            ordered_on=bill.date,
            expected_on=next((row.get("expected") for row in bill.rows if row.get("expected")), None),
            reference=reference,
            rate=self._rate(bill),
            note=" · ".join(notes)[:500],
        )
        came = {} if bill.draft else arrivals(bill, bill.first.plan, self.today)
        units = {place: row.get("unit") for place, row in enumerate(bill.rows) if row.get("unit")}
        sold = {place: row.get("sold") for place, row in enumerate(bill.rows) if row.get("sold")}
        return PastOrder(
            facts,
            number,
            bill.draft,
            came,
            units,
            came={place: one.came for place, one in sold.items()},
            gone={place: one.wont_come for place, one in sold.items() if one.wont_come},
            second_hand=frozenset(place for place, one in sold.items() if one.second_hand),
            gifts={place: one.gift for place, one in sold.items() if one.gift is not None},
        )

    def _rate(self, bill: Bill) -> Decimal | None:
        """Return an order's rate; None where it is the published one, which is looked up and stays marked as that."""
        known = published(bill.currency, self.boat.currency, bill.date) if bill.date and bill.rate else None
        return None if known is not None and known.rate == bill.rate else bill.rate

    def _line(self, order: NewOrder, place: int) -> LineFacts:
        item = order.items[place]
        price, in_all = order.bill.prices[place]
        sold = item.line.get("sold")
        return LineFacts(
            packs=sold.packs if sold else item.line.get("quantity", Decimal(1)),
            pack_size=sold.pack_size if sold else Decimal(1),
            weight_kg=sold.weight if sold else None,
            price=price,
            total=in_all,
            part=real(item.part) if item.part is not None else None,
            words=item.words,
            service=item.part is None
            and (sold.kind == LineKind.SERVICE if sold else item.line.get("unit") == "h"),
            job=real(item.job) if item.job is not None else None,
            system=real(item.system) if item.system is not None else None,
            place=real(item.place) if item.place is not None else None,
        )

    def _refunds(self) -> None:
        for back in self._each("refunds", self.done.refunds):
            self._refund(back)
        self.written.refunds = len(self.done.refunds)

    def _refund(self, back: Back) -> None:
        order = back.bill if isinstance(back.bill, Order) else back.bill.order
        order.refresh_from_db()
        said, _, what = str(back.line.get("description", "")).partition(": ")
        kinds = {fold(kind.label): kind for kind in CreditKind}
        kind = kinds.get(fold(said), CreditKind.PRICE)
        lines = list(order.lines.select_related("part"))
        hits = [line for line in lines if fold(line.what) == fold(what or said)] or lines
        refund = Refund(
            kind,
            -Decimal(back.line.get("landed")),
            self.boat.currency,
            came_on=back.line.get("date"),
            reason=f"From {self.name}"[:200],
        )
        add_refund(order, hits, refund, by=self.by, today=self.today)


def _words(kind: str, lines: tuple[int, ...] | None) -> str:
    return (
        "" if lines is None else "What the sheet has above the goods" if kind != "discount" else "Money off"
    )
