"""On what terms the demo's suppliers sell, what they ask, and what they promised."""

from dataclasses import dataclass

from django.contrib.auth.models import User

from refit.boat.models import Boat
from refit.buying.actions import chasing, offers, terms
from refit.calc.money import to_minor
from refit.carry.demo_buying import Buying
from refit.carry.demo_dates import tell_all
from refit.carry.demo_files import Files, Row


@dataclass
class Terms:
    """What the demo knows of its suppliers besides the orders."""

    boat: Boat
    files: Files
    users: dict[str, User]
    buying: Buying

    def set_down(self) -> str:
        """Write down terms, prices, promises and days to mind, in this order; say how many."""
        found = [
            tell_all(self.files, name, deed)
            for name, deed in (
                ("terms.csv", self._terms),
                ("offers.csv", self._offer),
                ("promises.csv", self._promise),
                ("minded.csv", self._mind),
            )
        ]
        return f"Terms of {found[0]} suppliers, {found[1]} prices, {found[2]} promises"

    def _terms(self, row: Row) -> None:
        supplier = self.buying.suppliers[row.given("supplier")]
        said = terms.SupplierTerms(
            is_shop=row.yes("shop"),
            lead_days=row.whole("lead"),
            surface_days=row.whole("surface"),
            in_working_days=row.yes("working"),
            return_days=row.whole("returns"),
            claim_days=row.whole("claims"),
            free_freight_from=_sum(row, "free_from", supplier.currency),
            usual_freight=_sum(row, "freight", supplier.currency),
        )
        self.buying.suppliers[supplier.name] = terms.change_terms(supplier, said)

    def _offer(self, row: Row) -> None:
        supplier = self.buying.suppliers[row.given("supplier")]
        facts = offers.OfferFacts(
            supplier=supplier,
            price=row.amount("price"),
            currency=supplier.currency,
            seen_on=row.day("seen") or row.made_on,
            pack_size=row.amount("pack", "1"),
            with_tax=supplier.prices_with_tax,
            lead_days=row.whole("lead"),
            surface_days=row.whole("surface"),
            note=row.text("note"),
        )
        made = offers.add_offer(self.buying.stores.part(row), facts, today=row.made_on)
        if row.yes("ended"):
            offers.end_offer(made)

    def _promise(self, row: Row) -> None:
        chasing.promise(
            self.buying.order(row),
            row.day("promised"),
            who=row.text("who"),
            said_on=row.day("said") or row.made_on,
            chase_on=row.day("chase"),
            note=row.text("note"),
            by=self.users[row.given("by")],
            today=row.made_on,
        )

    def _mind(self, row: Row) -> None:
        days = chasing.OrderDates(row.day("chase"), row.day("return_by"), row.day("claim_by"))
        chasing.mind_order(self.buying.order(row), days, today=row.made_on)


def _sum(row: Row, column: str, currency: str) -> int | None:
    amount = row.number_or_none(column)
    return None if amount is None else to_minor(amount, currency)
