"""The demo's suppliers, orders and arrivals. Its rates stand in its data, so that its totals never change."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import Any

from django.contrib.auth.models import User

from refit.boat.models import Boat, System
from refit.buying.actions import deliveries, orders
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts, LineFacts, OrderFacts
from refit.buying.models import Line, Order, Supplier
from refit.carry.demo_files import Files, Row
from refit.carry.demo_stores import Happening, Stores


@dataclass
class Buying:
    """What the demo has bought so far, by the numbers that the data uses."""

    boat: Boat
    files: Files
    users: dict[str, User]
    systems: dict[str, System]
    stores: Stores
    orders: dict[int, Order] = field(default_factory=dict)

    def happenings(self) -> Iterator[Happening]:
        """Yield each order on its day, and each arrival on its own."""
        self.suppliers = {row.given("name"): self._supplier(row) for row in self.files.rows("suppliers.csv")}
        self.lines = self._by_order("lines.csv")
        self.charges = self._by_order("charges.csv")
        for row in self.files.rows("orders.csv"):
            # What is not ordered yet was written down last.
            written = row.whole("ordered")
            when = (0 if written is None else written, 0, row.number)
            yield Happening(when, partial(self._order, row))
            if row.text("all_came"):
                arrived = row.whole("all_came") or 0
                yield Happening((arrived, 1, row.number), partial(self._all_came, row))
        parcels: dict[str, list[Row]] = defaultdict(list)
        for row in self.files.rows("arrivals.csv"):
            parcels[row.given("parcel")].append(row)
        for rows in parcels.values():
            arrived = rows[0].whole("day") or 0
            yield Happening((arrived, 1, 1000 + rows[0].number), partial(self._arrive, rows))

    def _by_order(self, name: str) -> dict[int, list[Row]]:
        found: dict[int, list[Row]] = defaultdict(list)
        for row in self.files.rows(name):
            found[row.whole("order") or 0].append(row)
        return found

    def _supplier(self, row: Row) -> Supplier:
        return orders.add_supplier(
            self.boat,
            row.given("name"),
            currency=row.given("currency"),
            prices_with_tax=row.yes("prices_with_tax"),
            tax_percent=row.number_or_none("tax_percent"),
            web=row.text("web"),
            note=row.text("note"),
        )

    def _order(self, row: Row) -> None:
        number = row.whole("order") or 0
        supplier = self.suppliers[row.given("supplier")]
        facts = OrderFacts(
            supplier=supplier,
            currency=row.given("currency"),
            lines=[self._line(line) for line in self.lines[number]],
            charges=[self._charge(charge) for charge in self.charges.get(number, [])],
            ordered_on=row.day("ordered"),
            expected_on=row.day("expected"),
            reference=row.text("reference"),
            rate=row.number_or_none("rate"),
            charged=row.number_or_none("charged"),
            prices_with_tax=supplier.prices_with_tax,
            tax_percent=supplier.tax_percent,
            job=self.stores.job(row) if row.text("job") else None,
            note=row.text("note"),
        )
        self.orders[number] = order = self._write(row, facts)
        if order.number != number:
            raise row.wrong(f"is order {order.number}; sort the orders by day and number them without gaps")

    def _write(self, row: Row, facts: OrderFacts) -> Order:
        by, today = self.users[row.given("by")], self.files.made_on
        if row.given("state") == "counter":
            return deliveries.buy_here(self.boat, facts, by=by, today=today)[0]
        order = orders.write_order(self.boat, facts, by=by, today=today)
        if row.given("state") == "draft":
            return order
        order = orders.place_order(order, on=facts.ordered_on or today, today=today)
        return orders.cancel_order(order) if row.given("state") == "cancelled" else order

    def _line(self, row: Row) -> LineFacts:
        return LineFacts(
            packs=row.amount("packs", "1"),
            price=row.amount("price"),
            part=self.stores.part(row) if row.text("part") else None,
            words=row.text("words"),
            service=row.yes("service"),
            pack_size=row.amount("pack_size", "1"),
            total=row.yes("in_all"),
            job=self.stores.job(row) if row.text("job") else None,
            system=self.systems[row.given("system")],
            place=self.stores.place(row, "place") if row.text("place") else None,
        )

    def _charge(self, row: Row) -> ChargeFacts:
        covered = row.text("lines")
        return ChargeFacts(
            kind=row.given("kind"),
            amount=row.amount("amount"),
            words=row.text("words"),
            currency=row.text("currency"),
            rate=row.number_or_none("rate"),
            basis=row.text("basis") or "value",
            reclaimable=row.yes("reclaimable"),
            in_prices=row.yes("in_prices"),
            expected=row.yes("expected"),
            payee=self.suppliers[row.text("payee")] if row.text("payee") else None,
            lines=tuple(int(place) - 1 for place in covered.split()) if covered else None,
        )

    def _all_came(self, row: Row) -> None:
        """Book in a whole order as it was meant to come."""
        number = row.whole("order") or 0
        lines = zip(self._lines(number), self.lines[number], strict=True)
        arrivals = [
            Arrival(
                line,
                line.quantity,
                place=line.place,
                serial=data.text("serial"),
                expires_on=data.day("runs_out"),
                to_job=data.yes("to_job"),
            )
            for line, data in lines
        ]
        self._book_in(arrivals, row, row.day("all_came"))

    def _arrive(self, rows: list[Row]) -> None:
        """Book in a parcel: some lines of one order or of several, or what won't come."""
        arrivals = []
        for row in rows:
            line = self._lines(row.whole("order") or 0)[(row.whole("line") or 1) - 1]
            arrivals.append(
                Arrival(
                    line,
                    row.amount("quantity", "0"),
                    place=self.stores.place(row, "place") if row.text("place") else None,
                    serial=row.text("serial"),
                    expires_on=row.day("runs_out"),
                    came_as=self.stores.part(row, "came_as") if row.text("came_as") else None,
                    wont_come=row.yes("wont_come"),
                )
            )
        self._book_in(arrivals, rows[0], rows[0].day("day"), note=rows[0].text("note"))

    def _book_in(self, arrivals: list[Arrival], row: Row, on: date | None, note: str = "") -> None:
        today = self.files.made_on
        by: Any = self.users[row.given("by")]
        deliveries.book_in(self.boat, arrivals, by=by, on=on or today, today=today, note=note)

    def _lines(self, number: int) -> list[Line]:
        found = Line.objects.filter(order=self.orders[number]).order_by("position")
        return list(found.select_related("part", "place", "job", "order"))
