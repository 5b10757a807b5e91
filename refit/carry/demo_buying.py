"""The demo's suppliers, orders and arrivals. Its rates stand in its data, so that its totals never change."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from typing import Any

from django.contrib.auth.models import User

from refit.boat.models import Boat, System
from refit.buying.actions import corrections, deliveries, orders, payments
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts, LineFacts, OrderFacts
from refit.buying.models import Line, LineKind, Means, Order, PricedBy, Repeat, Supplier
from refit.calc.money import from_minor, to_minor
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
    suppliers: dict[str, Supplier] = field(default_factory=dict)

    def happenings(self) -> Iterator[Happening]:
        """Yield each order on its day, and each arrival on its own."""
        for row in self.files.rows("suppliers.csv"):
            self.suppliers[row.given("name")] = self._supplier(row)
        self.lines = self._by_order("lines.csv")
        self.charges = self._by_order("charges.csv")
        for row in self.files.rows("orders.csv"):
            # What is not ordered yet was written down last.
            written = row.whole("ordered")
            when = (0 if written is None else written, 0, row.number)
            yield Happening(when, partial(self._order, row))
            if row.given("state") == "cancelled":
                cancelled = row.whole("cancelled") or 0
                yield Happening((cancelled, 1, row.number), partial(self._cancel, row))
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
        if row.given("state") == "again":
            self.orders[number] = self._again(row)
        else:
            self.orders[number] = self._new(row, number)
        if self.orders[number].number != number:
            raise row.wrong(
                f"is order {self.orders[number].number}; sort the orders by day and number them without gaps"
            )

    def _cancel(self, row: Row) -> None:
        orders.cancel_order(self.order(row), on=row.day("cancelled"))

    def _again(self, row: Row) -> Order:
        """Confirm that an order of this supplier came again."""
        repeat = Repeat.objects.get(boat=self.boat, order__supplier=self.suppliers[row.given("supplier")])
        return payments.confirm_repeat(
            repeat, by=self.users[row.given("by")], today=row.day("ordered") or self.files.made_on
        )

    def _new(self, row: Row, number: int) -> Order:
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
        order = self._write(row, facts)
        self._mark(order, self.lines[number], row)
        return order

    def _write(self, row: Row, facts: OrderFacts) -> Order:
        by, today = self.users[row.given("by")], self.files.made_on
        if row.given("state") == "counter":
            means = row.text("means") or Means.CARD
            return deliveries.buy_here(self.boat, facts, by=by, today=today, means=means)[0]
        order = orders.write_order(self.boat, facts, by=by, today=today)
        if row.given("state") == "draft":
            return order
        order = orders.place_order(order, on=facts.ordered_on or today, today=today)
        return order

    def _mark(self, order: Order, data: list[Row], row: Row) -> None:
        """Say which lines were second-hand, a gift, or sent free in the place of another."""
        if not any(
            cells.text("second_hand") or cells.text("gift_value") or cells.text("replaces") for cells in data
        ):
            return
        changes = []
        for line, cells in zip(self.lines_of(order), data, strict=True):
            worth = cells.number_or_none("gift_value")
            changes.append(
                corrections.LineChange(
                    as_typed(line),
                    line,
                    second_hand=cells.yes("second_hand"),
                    gift_value=None if worth is None else to_minor(worth, self.boat.currency),
                    replaces=self._named(cells) if cells.text("replaces") else None,
                )
            )
        on = order.ordered_on or self.files.made_on
        head = corrections.Head(order.supplier, on, order.expected_on, order.reference, order.note)
        corrections.correct_order(order, head, changes, by=self.users[row.given("by")], today=on)

    def _named(self, cells: Row) -> Line:
        """Return the line that a cell names by its order and place on it: `68/2`."""
        order, _, place = cells.given("replaces").partition("/")
        return self.lines_of(self.order_by(int(order), cells))[int(place) - 1]

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

    # What the data calls orders and their lines.

    def order(self, row: Row) -> Order:
        """Return the order that a row numbers, as it stands now."""
        return self.order_by(row.whole("order") or 0, row)

    def order_by(self, number: int, row: Row) -> Order:
        """Return the order of a number, as it stands now."""
        if number not in self.orders:
            raise row.wrong(f"names order {number}, which was not placed by then")
        return Order.objects.select_related("boat", "supplier").get(pk=self.orders[number].pk)

    def line(self, row: Row) -> Line:
        """Return the line that a row names by its order and place on it."""
        return self.lines_of(self.order(row))[(row.whole("line") or 1) - 1]

    def lines_of(self, order: Order) -> list[Line]:
        """Return the lines of an order in their order."""
        found = Line.objects.filter(order=order).order_by("position")
        return list(found.select_related("part", "place", "job", "system", "order", "replaces"))

    def _lines(self, number: int) -> list[Line]:
        return self.lines_of(self.orders[number])


def as_typed(line: Line, **other: Any) -> LineFacts:
    """Return a line as it was typed, but for what is given."""
    in_all = line.priced_by == PricedBy.TOTAL
    facts = LineFacts(
        packs=line.packs,
        price=from_minor(line.amount, line.order.currency) if in_all else line.unit_price,
        part=line.part,
        words=line.words,
        service=line.kind == LineKind.SERVICE,
        pack_size=line.pack_size,
        total=in_all,
        job=line.job,
        system=line.system,
        place=line.place,
    )
    return replace(facts, **other)
