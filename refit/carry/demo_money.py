"""What became of the demo's orders after they were placed: bills, corrections, goods and money back, old gear gone.

Each row of its files is one deed on its day, done by the action that the pages call. Payments are in `demo_payments`.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import Any

from refit.buying.actions import charges, corrections, disposals, refunds
from refit.buying.models import Charge, Credit, Return
from refit.calc.money import to_minor
from refit.carry.demo_buying import Buying, as_typed
from refit.carry.demo_files import Row
from refit.carry.demo_stores import Happening
from refit.stores.models import Holding

# On one day: orders 0, arrivals 1, in and out 2; then what this module does, and last what was paid.
CORRECTED, BILLED, GOING_BACK, SENT, MONEY_BACK, GONE = 3, 4, 5, 6, 7, 8


@dataclass
class Money:
    """The deeds of money that came after the order, and what they made, by the names that the data uses."""

    buying: Buying
    returns: dict[str, Return] = field(default_factory=dict)
    credits: dict[int, Credit] = field(default_factory=dict)

    def happenings(self) -> Iterator[Happening]:
        """Yield each deed on its day."""
        yield from self._by_name("corrections.csv", "correction", CORRECTED, self._correct)
        for row in self.buying.files.rows("bills.csv"):
            yield Happening((row.whole("day") or 0, BILLED, row.number), partial(self._bill, row))
        yield from self._by_name("going_back.csv", "back", GOING_BACK, self._say_going_back)
        for row in self.buying.files.rows("going_back.csv"):
            if row.text("sent"):
                yield Happening((row.whole("sent") or 0, SENT, row.number), partial(self._send, row))
        for row in self.buying.files.rows("money_back.csv"):
            first = row.whole("applied" if row.text("applied") else "came_on") or 0
            yield Happening((first, MONEY_BACK, row.number), partial(self._refund, row))
            if row.text("applied") and row.text("came_on"):
                came = row.whole("came_on") or 0
                yield Happening((came, MONEY_BACK, row.number), partial(self._refund_came, row))
        for row in self.buying.files.rows("sold.csv"):
            yield Happening((row.whole("day") or 0, GONE, row.number), partial(self._dispose, row))

    def _by_name(self, file: str, name: str, kind: int, deed: Any) -> Iterator[Happening]:
        """Yield one deed for all the rows of a file that bear the same name."""
        found: dict[str, list[Row]] = defaultdict(list)
        for row in self.buying.files.rows(file):
            found[row.given(name)].append(row)
        for rows in found.values():
            yield Happening((rows[0].whole("day") or 0, kind, rows[0].number), partial(deed, rows))

    def _correct(self, rows: list[Row]) -> None:
        """Correct an order: what the rows name is other than it was, all else stays."""
        first = rows[0]
        order = self.buying.order(first)
        other = {(row.whole("line") or 1) - 1: row for row in rows}
        changes = []
        for line in self.buying.lines_of(order):
            facts: dict[str, Any] = {}
            if line.position in other:
                row = other[line.position]
                facts = {row.given("field"): self._value(row)}
            changes.append(
                corrections.LineChange(
                    as_typed(line, **facts), line, line.second_hand, line.gift_value, line.replaces
                )
            )
        placed = order.ordered_on or first.made_on
        head = corrections.Head(order.supplier, placed, order.expected_on, order.reference, order.note)
        corrections.correct_order(order, head, changes, why=first.given("why"), **self._who(first))

    def _value(self, row: Row) -> Any:
        name = row.given("field")
        if name in ("price", "packs"):
            return row.amount("becomes")
        if name == "system":
            return self.buying.systems[row.given("becomes")]
        if name == "job":
            return self.buying.stores.job(row, "becomes")
        raise row.wrong(f"says {name!r} under field; it may be price, packs, system or job")

    def _bill(self, row: Row) -> None:
        """Enter a bill over the lines of one order or of a parcel of several; or the real one for an expected."""
        facts = self._bill_facts(row)
        if row.given("deed") == "came":
            charges.bill_came(self._expected(row), facts, **self._who(row))
            return
        chosen = {int(place) - 1 for place in row.text("lines").split()}
        lines = [line for order in self._orders(row) for line in self.buying.lines_of(order)]
        lines = [line for line in lines if not chosen or line.position in chosen]
        charges.add_charge(self.buying.boat, lines, facts, **self._who(row))

    def _bill_facts(self, row: Row) -> charges.Bill:
        return charges.Bill(
            kind=row.given("kind"),
            amount=row.amount("amount"),
            currency=row.given("currency"),
            words=row.text("words"),
            rate=row.number_or_none("rate"),
            basis=row.text("basis") or "value",
            expected=row.given("deed") == "expect",
            payee=self.buying.suppliers[row.text("payee")] if row.text("payee") else None,
            billed_on=None if row.given("deed") == "expect" else row.day("day"),
            reference=row.text("reference"),
        )

    def _orders(self, row: Row) -> list[Any]:
        return [self.buying.order_by(int(number), row) for number in row.given("orders").split()]

    def _expected(self, row: Row) -> Charge:
        orders = self._orders(row)
        found = Charge.objects.filter(expected=True, kind=row.given("kind"), shares__line__order__in=orders)
        charge = found.distinct().first()
        if charge is None:
            raise row.wrong(f"has a bill for orders {row.text('orders')}, where none is expected")
        return charge

    def _say_going_back(self, rows: list[Row]) -> None:
        items = []
        for row in rows:
            line = self.buying.line(row)
            items.append((line, row.amount("quantity"), self._holding(row) if row.text("place") else None))
        back = refunds.say_going_back(
            self.buying.order(rows[0]),
            items,
            by=self._by(rows[0]),
            on=on_day(rows[0]),
            why=rows[0].text("why"),
        )
        self.returns[rows[0].given("back")] = back

    def _holding(self, row: Row) -> Holding:
        return self.buying.stores.holding(row)

    def _send(self, row: Row) -> None:
        back = self.returns.pop(row.given("back"), None)
        if back is None:
            return  # sent with the first row that bears its name
        on = row.day("sent")
        refunds.send_back(
            back,
            by=self._by(row),
            on=on or row.made_on,
            today=on or row.made_on,
            reference=row.text("reference"),
        )

    def _refund(self, row: Row) -> None:
        """Write down money that came back, or that was only applied for."""
        waits = bool(row.text("applied"))
        order = self.buying.order(row)
        lines = self.buying.lines_of(order)
        chosen = {int(place) - 1 for place in row.text("lines").split()}
        self.credits[row.number] = refunds.add_refund(
            order,
            [line for line in lines if not chosen or line.position in chosen],
            refunds.Refund(
                kind=row.given("kind"),
                amount=row.amount("amount"),
                currency=row.given("currency"),
                applied_on=row.day("applied"),
                came_on=None if waits else row.day("came_on"),
                came=None if waits else row.number_or_none("came"),
                reason=row.text("reason"),
                reference=row.text("reference"),
                as_store_credit=row.yes("store_credit"),
            ),
            by=self._by(row),
            today=row.made_on,
        )

    def _refund_came(self, row: Row) -> None:
        day = row.day("came_on") or row.made_on
        refunds.refund_came(
            self.credits[row.number], came_on=day, came=row.number_or_none("came"), today=row.made_on
        )

    def _dispose(self, row: Row) -> None:
        boat = self.buying.boat
        disposals.add_disposal(
            boat,
            kind=row.given("kind"),
            what=row.given("what"),
            system=self.buying.systems[row.given("system")],
            on=on_day(row),
            amount=to_minor(row.amount("amount", "0"), boat.currency),
            buyer=row.text("buyer"),
            note=row.text("note"),
            **self._who(row),
        )

    def _by(self, row: Row) -> Any:
        return self.buying.users[row.given("by")]

    def _who(self, row: Row) -> dict[str, Any]:
        """Return who did it and the day it was done: what changed then counts from that day."""
        return {"by": self._by(row), "today": on_day(row)}


def on_day(row: Row) -> date:
    """Return the day of a row."""
    return row.day("day") or row.made_on
