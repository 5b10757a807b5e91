"""A plain factory with defaults: what a test does not care about is made for it, by the program's own actions."""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import User
from django.utils import timezone

from refit.boat.actions import boats, places
from refit.boat.models import Boat, Group, Kind, Location, Member, System, Where
from refit.boat.rights import Role
from refit.buying.actions import orders
from refit.buying.actions.orders import ChargeFacts, LineFacts, OrderFacts
from refit.buying.models import Order, Supplier
from refit.stores.actions import parts, stow
from refit.stores.models import Holding, Part
from refit.work.actions import add_job
from refit.work.models import Job

D = Decimal


def person(name: str) -> User:
    """Make a person who can sign in."""
    return User.objects.create(username=name, first_name=name.capitalize())


@dataclass
class Factory:
    """One boat with its cast; each method makes one more thing on it."""

    boat: Boat
    owner: User
    crew: User
    trade: User
    viewer: User
    outsider: User
    area: Location
    ashore: Location
    system: System
    other_system: System
    made: int = field(default=0)

    @classmethod
    def start(cls, name: str = "Test Boat", currency: str = "GBP", prefix: str = "") -> "Factory":
        """Make a boat with owner, crew, trade, viewer and an outsider; a saloon, a store ashore; two systems."""
        cast = {role: person(f"{prefix}{role}") for role in (*Role.values, "outsider")}
        boat = boats.make_boat(cast["owner"], name=name, currency=currency, deducts_tax=True)
        for role in (Role.CREW, Role.TRADE, Role.VIEWER):
            boats.add_member(boat, cast[role], role)
        area = places.add_place(boat, kind=Kind.AREA, parent=None, name="Saloon")
        ashore = places.add_place(boat, kind=Kind.AREA, parent=None, name="Store ashore", where=Where.ASHORE)
        systems = boats.add_systems(
            boat, [("Engine", Group.PROPULSION, True), ("Yard", Group.SERVICES, False)]
        )
        return cls(boat=boat, area=area, ashore=ashore, system=systems[0], other_system=systems[1], **cast)

    @property
    def today(self) -> date:
        return timezone.localdate()

    def member(self, user: User) -> Member:
        return Member.objects.get(boat=self.boat, user=user)

    def place(
        self, mark: str = "", *, parent: Location | None = None, kind: str = Kind.LOCKER, **facts: Any
    ) -> Location:
        self.made += 1
        return places.add_place(
            self.boat, kind=kind, parent=parent or self.area, mark=mark or f"L{self.made}", **facts
        )

    def part(self, name: str = "", **facts: Any) -> Part:
        self.made += 1
        return parts.add_part(self.boat, name=name or f"Part {self.made}", **facts)

    def job(self, title: str = "", *, system: System | None = None, **facts: Any) -> Job:
        self.made += 1
        return add_job(
            self.boat, title=title or f"Job {self.made}", system=system or self.system, by=self.owner, **facts
        )

    def stock(self, part: Part, place: Location, quantity: Any = 1, **facts: Any) -> Holding:
        """Put a part into a place and return what is held there."""
        facts.setdefault("on", self.today)
        stow.put_in(part, place, D(quantity), by=self.owner, today=self.today, **facts)
        return Holding.objects.filter(part=part, place=place).order_by("-id").first()

    def supplier(self, name: str = "", **facts: Any) -> Supplier:
        self.made += 1
        return orders.add_supplier(self.boat, name or f"Supplier {self.made}", **facts)

    def line(self, part: Part | None = None, **facts: Any) -> LineFacts:
        facts.setdefault("packs", D(1))
        facts.setdefault("price", D("10.00"))
        facts.setdefault("system", self.system)
        if part is None:
            facts.setdefault("words", "Bits and pieces")
        return LineFacts(part=part, **facts)

    def draft(self, *lines: LineFacts, charges: tuple[ChargeFacts, ...] = (), **facts: Any) -> Order:
        facts.setdefault("supplier", None)
        facts["supplier"] = facts["supplier"] or self.supplier()
        facts.setdefault("currency", self.boat.currency)
        written = OrderFacts(lines=list(lines) or [self.line()], charges=charges, **facts)
        return orders.write_order(self.boat, written, by=self.owner, today=self.today)

    def order(self, *lines: LineFacts, on: date | None = None, **facts: Any) -> Order:
        """Write an order and place it."""
        draft = self.draft(*lines, **facts)
        return orders.place_order(draft, on=on or self.today, today=self.today)
