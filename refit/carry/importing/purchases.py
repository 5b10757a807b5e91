"""What bills mean for the boat: the supplier, parts, jobs, systems and places that they name, and whether they are there.

An order stands or falls whole: with one row that is not right, its other rows wait too.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from refit.buying.models import Line as OrderLine
from refit.buying.models import LineKind, Order
from refit.calc.money import to_minor
from refit.calc.text import fold
from refit.carry.importing.bills import Bill, Key, bills_of, price, sorted_out
from refit.carry.importing.cells import Fault, Line
from refit.carry.importing.things import own_part
from refit.carry.importing.world import NO_JOB, NewJob, NewPart, Slip, job_and_number
from refit.stores.models import NumberKind


@dataclass
class Back:
    """A row of money that came back on an order, as the program exports it."""

    line: Line
    bill: Any  # a Bill of this file, or an Order that is there


@dataclass
class Item:
    """One line to be ordered, with what it names: rows, or new things."""

    line: Line
    part: Any
    words: str
    job: Any
    system: Any
    place: Any


@dataclass
class NewOrder:
    """An order to be written."""

    bill: Bill
    supplier: Any
    items: list[Item]
    order: Any = None  # the row, once written


def check(done: Any, plan: Any, lines: Sequence[Line], count: Any, today: date) -> None:
    """Check the rows of a sheet of orders; what is right and new goes to `done.orders`."""
    known = _Known(done.world.boat)
    kept = sorted_out(done, lines, count)
    bills = bills_of([line for line in kept if line.get("state_word") != "refund"], today)
    backs = [line for line in kept if line.get("state_word") == "refund"]
    found: dict[Key, Any] = {}
    for bill in bills:
        price(done, bill, today)
        if bill.is_right:
            _name_slips(done, bill)
        if not bill.is_right:
            _leave_whole(done, bill)
            continue
        there = known.find(bill)
        if isinstance(there, str):
            bill.first.fault("reference" if plan.column("reference") is not None else "order", there)
            _leave_whole(done, bill)
        elif there is not None:
            count.known += len(bill.rows) + len(bill.off)
            found[_back_key(bill.first)] = there
        else:
            order = _order(done, bill, today)
            done.orders.append(order)
            found[_back_key(bill.first)] = order
    for line in backs:
        count.known += _money_back(done, line, found)


def _name_slips(done: Any, bill: Bill) -> None:
    """Name systems and suppliers that are nearly others, and what no line can do without."""
    world = done.world
    try:
        world.check_supplier(bill.first.get("supplier"))
    except Slip as slip:
        bill.first.fault("supplier", str(slip))
    for row in bill.rows:
        system = row.get("system") or row.plan.options.get("system", "")
        job = None if _no_job(row) else world.find_job(row.get("job"))
        if system:
            try:
                world.check_system(system)
            except Slip as slip:
                row.fault("system", str(slip))
        elif job is None and not bill.draft:
            row.fault(
                "system",
                "has nothing: every line is for one system. Choose one for such rows, or fill it in.",
            )
        if not _no_job(row) and job is None and not system:
            row.fault("job", "is no job on the list, and without a system none can be made.")
        if row.get("locker") and world.find_place(row.get("locker")) is None and len(row.get("locker")) > 80:
            row.fault("locker", "is too long for a place.")


def _no_job(row: Line) -> bool:
    return not row.get("job") or fold(row.get("job")) in NO_JOB


def _leave_whole(done: Any, bill: Bill) -> None:
    """Leave the right rows of an order out with the wrong one."""
    rows = [*bill.rows, *bill.off]
    wrong = next(row for row in rows if row.faults)
    for row in rows:
        if not row.faults:
            why = f"Another row of this order is not right: {wrong.faults[0].where}."
            done.along.append(Fault(row.sheet, row.plan.title, row.row.number, "", "", "", why))


def _order(done: Any, bill: Bill, today: date) -> NewOrder:
    world = done.world
    supplier = world.supplier(bill.first.get("supplier"))
    items = []
    for row in bill.rows:
        name = row.get("system") or row.plan.options.get("system", "")
        system = world.system(name) if name else None
        job = None
        if not _no_job(row):
            job = world.find_job(row.get("job"), system) or _new_job(world, row, system)
            system = system or job.system
        part = _part(done, row, system)
        place = _place(world, row)
        words = "" if part is not None else row.get("description", "")
        items.append(Item(row, part, words, job, system, place))
    return NewOrder(bill, supplier, items)


def _new_job(world: Any, row: Line, system: Any) -> NewJob:
    number, title = job_and_number(row.get("job"))
    if number in world.job_numbers:
        number = None
    return world.add_job(NewJob(title[:120], system, number))


def _place(world: Any, row: Line) -> Any:
    """Return the place a line is for, made if it is new; one that was taken out of use stays so."""
    text = row.get("locker")
    if not text or (row.get("sold") and row.get("sold").lost_place):
        return world.find_place(text) if text else None
    return world.place(text)


def _part(done: Any, row: Line, system: Any) -> Any:
    """Return the part a line is for: by its number, made if it is new; by its name only if it is there."""
    world = done.world
    number, name = row.get("number", ""), row.get("description", "")
    sold = row.get("sold")
    if sold:
        if sold.kind != LineKind.PART:
            return None
        found = own_part(done, row, name)
        if found is not None or sold.lost_part:
            return found
    else:
        found = world.part(number, name)
        if found is not None or not number:
            return found
    facts = {"unit": row.get("unit")} if row.get("unit") else {}
    numbers = [(NumberKind.MAKER.value, number, "")] if number else []
    part = NewPart((name or number)[:120], numbers, facts)
    part.system = system
    return world.add_part(part)


def _back_key(line: Line) -> Key:
    return (fold(line.get("supplier") or ""), fold(str(line.get("order") or line.get("reference") or "")))


def _money_back(done: Any, line: Line, found: dict[Key, Any]) -> bool:
    """Put a row of money back to its order; return whether it is there already."""
    order = found.get(_back_key(line))
    amount = line.get("landed")
    if order is None or amount is None or amount >= 0:
        line.fault(
            "order" if order is None else "landed", "is money back, but its order is not in the sheet."
        )
        return False
    if isinstance(order, Order) and done.world.take_back(
        order, line.get("date"), to_minor(-amount, done.world.boat.currency)
    ):
        return True
    if not line.faults:
        done.refunds.append(Back(line, order))
    return False


class _Known:
    """The orders that are there, found by what they say."""

    def __init__(self, boat: Any) -> None:
        self.free: list[Order] = []
        self.by_key: dict[Key, list[Order]] = {}
        self.by_reference: dict[Key, list[Order]] = {}
        self.whats: dict[int, Counter[tuple[str, Decimal]]] = {}
        self.amounts: dict[int, Counter[tuple[Decimal, int]]] = {}
        orders = {order.pk: order for order in Order.objects.filter(boat=boat).select_related("supplier")}
        rows = OrderLine.objects.filter(boat=boat).values_list(
            "order_id", "part__name", "words", "quantity", "wont_come", "amount"
        )
        for pk, part, words, quantity, gone, amount in rows:
            wanted = quantity - gone
            if wanted <= 0:
                continue  # what never came stands in no list of what was bought
            self.whats.setdefault(pk, Counter())[(fold(part or words)[:100], wanted)] += 1
            self.amounts.setdefault(pk, Counter())[(wanted, amount)] += 1
        for order in orders.values():
            base = (order.supplier.folded, order.ordered_on)
            self.by_key.setdefault(base, []).append(order)
            if order.reference:
                self.by_reference.setdefault((*base, fold(order.reference)), []).append(order)

    def find(self, bill: Bill) -> Order | str | None:
        """Return the order that a bill is, or why it cannot be a new one; an order is found once."""
        base = (fold(bill.first.get("supplier")), bill.date)
        reference = fold(
            bill.first.get("reference") or ("" if bill.first.plan.is_own else bill.first.get("order")) or ""
        )
        number = str(bill.first.get("order") or "")
        whats = Counter(
            (fold(row.get("description") or row.get("number"))[:100], row.get("quantity", Decimal(1)))
            for row in bill.rows
            if row.get("quantity", Decimal(1)) > 0
        )
        amounts = Counter(
            (row.get("quantity", Decimal(1)), amount)
            for row, amount in zip(bill.rows, bill.amounts, strict=True)
            if row.get("quantity", Decimal(1)) > 0
        )
        candidates = self.by_key.get(base, [])
        for order in candidates:
            same_bill = not reference or not order.reference or reference == fold(order.reference)
            same_number = (
                not bill.first.plan.is_own or not number.isdecimal() or number in (str(order.number), "")
            )
            alike = self.amounts.get(order.pk, Counter()) == amounts or (
                same_number and bill.first.plan.is_own and self.whats.get(order.pk, Counter()) == whats
            )
            if alike and same_bill and (same_number or self.whats.get(order.pk, Counter()) == whats):
                candidates.remove(order)
                return order
        taken = self.by_reference.get((*base, reference), []) if reference else []
        left = [order for order in taken if order in candidates]
        if left:
            return f"is on order {left[0].number} already, with other lines. Correct it there."
        return None
