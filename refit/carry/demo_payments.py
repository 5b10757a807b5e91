"""What the demo paid: orders at once, a chandler's statement over several, bills of the courier, deposits, storage.

An order that was simply paid says so in its own row of orders.csv; all that is not simple stands in payments.csv.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from refit.buying import owing
from refit.buying.actions import deposits, payments
from refit.buying.actions.payments import Split
from refit.buying.models import Charge, ChargeKind, Means, Order
from refit.calc.dates import add_months
from refit.calc.money import to_minor
from refit.carry.demo_buying import Buying
from refit.carry.demo_files import Row
from refit.carry.demo_stores import Happening

PAID, LOST, REPEATED = 9, 10, 2


@dataclass
class Payments:
    """The deeds of paying, each on its day."""

    buying: Buying

    def happenings(self) -> Iterator[Happening]:
        """Yield each payment, each deposit lost and each order that is to come again."""
        for row in self.buying.files.rows("orders.csv"):
            if row.text("paid") and row.given("state") != "counter":
                yield Happening((row.whole("paid") or 0, PAID, row.number), partial(self._pay_order, row))
            if row.text("bills_paid"):
                day = row.whole("bills_paid") or 0
                yield Happening((day, PAID, row.number), partial(self._pay_bills, row))
        found: dict[str, list[Row]] = defaultdict(list)
        for row in self.buying.files.rows("payments.csv"):
            found[row.given("payment")].append(row)
        for rows in found.values():
            first = rows[0]
            day = first.whole("day") or 0
            yield Happening((day, PAID, 1000 + first.number), partial(self._pay, rows))
            if first.text("lost"):
                lost = first.whole("lost") or 0
                yield Happening((lost, LOST, first.number), partial(self._lose, first))
        for row in self.buying.files.rows("repeats.csv"):
            yield Happening((row.whole("day") or 0, REPEATED, row.number), partial(self._repeat, row))

    def _pay_order(self, row: Row) -> None:
        """Pay an order in full, and what the card company took for it."""
        order = self.buying.order(row)
        splits = [self._rest_of(order)]
        for charge in self._bills(order):
            if charge.kind == ChargeKind.CARD_FEE:
                splits.append(Split(charge.home, charge=charge))
        payments.pay(
            order.boat,
            splits,
            on=row.day("paid") or row.made_on,
            today=row.made_on,
            by=self.buying.users[row.given("by")],
            means=row.text("means") or Means.CARD,
            payer=row.text("payer"),
            payee=order.supplier,
        )

    def _rest_of(self, order: Order) -> Split:
        """Return what is left to pay of an order; in other money, it settles what was not settled yet."""
        owed = owing.of_orders([order])[order.pk]
        return Split(owed.left, order=order, settles=owed.own_left)

    def _bills(self, order: Order) -> list[Charge]:
        """Return what is billed on an order by others than its seller, and not paid."""
        bills = owing.bills(order.boat).filter(shares__line__order=order, payment_splits=None)
        return list(bills.select_related("payee").distinct().order_by("id"))

    def _pay_bills(self, row: Row) -> None:
        """Pay what the courier billed on an order, or on the parcel that it came in."""
        order = self.buying.order(row)
        mine = [charge for charge in self._bills(order) if charge.payee]
        if not mine:
            raise row.wrong("has no bill of a courier to pay")
        payments.pay(
            order.boat,
            [Split(charge.home, charge=charge) for charge in mine],
            on=row.day("bills_paid") or row.made_on,
            today=row.made_on,
            by=self.buying.users[row.given("by")],
            payee=mine[0].payee,
        )

    def _pay(self, rows: list[Row]) -> None:
        """Pay once for all rows that bear the same name."""
        first, boat = rows[0], self.buying.boat
        on = first.day("day") or first.made_on
        paid = payments.pay(
            boat,
            [self._split(row) for row in rows],
            on=on,
            today=first.made_on,
            by=self.buying.users[first.given("by")],
            means=first.text("means") or Means.CARD,
            payer=first.text("payer"),
            payee=self.buying.suppliers[first.text("payee")] if first.text("payee") else None,
            reference=first.text("reference"),
            is_deposit=first.yes("deposit"),
            we_owe=first.yes("we_owe"),
        )
        back: date | None = first.day("paid_back")
        if back is not None:
            payments.pay_back(paid, on=back, today=first.made_on)

    def _split(self, row: Row) -> Split:
        order = self.buying.order(row)
        amount = row.number_or_none("amount")
        if amount is None:
            return self._rest_of(order)
        settles = row.number_or_none("settles")
        return Split(
            to_minor(amount, order.boat.currency),
            order=order,
            settles=None if settles is None else to_minor(settles, order.currency),
        )

    def _lose(self, row: Row) -> None:
        on = row.day("lost") or row.made_on
        deposits.lose_deposit(self.buying.order(row), on=on, today=on, by=self.buying.users[row.given("by")])

    def _repeat(self, row: Row) -> None:
        order: Any = self.buying.order(row)
        months = row.whole("every_months") or 1
        payments.repeat_order(order, every_months=months, next_on=add_months(order.ordered_on, months))
