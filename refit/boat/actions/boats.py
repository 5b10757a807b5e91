"""Boats, people, systems and budgets."""

from collections.abc import Iterable
from datetime import date
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import Model, QuerySet
from django.utils.text import slugify

from refit.boat.actions.labels import mint
from refit.boat.models import (
    RESERVED_SLUGS,
    Boat,
    Budget,
    Contingency,
    Group,
    Kind,
    Location,
    Member,
    System,
    Where,
)
from refit.boat.refusals import Refused
from refit.boat.rights import Role
from refit.calc.money import minor_digits
from refit.calc.text import fold

NOT_STOWED = "Not stowed yet"

Row = TypeVar("Row", bound=Model)


def lock(boat: Boat) -> Boat:
    """Lock the boat's row; every write that needs an order of locks begins here."""
    return Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)


def standing(rows: QuerySet[Row], pk: int, what: str) -> Row:
    """Return a row as it stands now, under the boat's lock; refused if somebody took it away meanwhile."""
    found = rows.filter(pk=pk).first()
    if found is None:
        raise Refused(f"{what} is gone: somebody took it away meanwhile.", code="gone")
    return found


@transaction.atomic
def make_boat(user: Any, *, name: str, currency: str, slug: str = "", **facts: Any) -> Boat:
    """Make a boat with its owner and the place where parcels lie until put away."""
    try:
        minor_digits(currency)
    except ValueError as problem:
        raise Refused(str(problem), code="currency", field="currency") from None
    wanted = slug or slugify(name)[:36] or "boat"
    if wanted in RESERVED_SLUGS:
        wanted = f"{wanted}-1"
    taken = set(Boat.objects.filter(slug__startswith=wanted).values_list("slug", flat=True))
    free = wanted
    count = 2
    while free in taken:
        free, count = f"{wanted}-{count}", count + 1
    boat = Boat.objects.create(name=name, currency=currency, slug=free, **facts)
    Member.objects.create(boat=boat, user=user, role=Role.OWNER)
    label = mint(boat, 1)[0]
    place = Location.objects.create(
        boat=boat, kind=Kind.UNSTOWED, name=NOT_STOWED, where=Where.ASHORE, code=label.code
    )
    label.location = place
    label.save(update_fields=["location"])
    return boat


@transaction.atomic
def change_boat(boat: Boat, **facts: Any) -> Boat:
    """Change what is known of the boat. Its currency stays: every sum is kept in it."""
    locked = lock(boat)
    if "currency" in facts and facts["currency"] != locked.currency:
        raise Refused(
            f"The boat's money is kept in {locked.currency}; that cannot change.",
            code="currency",
            field="currency",
        )
    for name, value in facts.items():
        setattr(locked, name, value)
    locked.save()
    return locked


@transaction.atomic
def add_member(boat: Boat, user: Any, role: str) -> Member:
    """Give a person a role on the boat, or change the one they have; one owner always stays."""
    lock(boat)
    owners = Member.objects.filter(boat=boat, role=Role.OWNER)
    if role != Role.OWNER and list(owners.values_list("user_id", flat=True)) == [user.pk]:
        raise Refused("A boat keeps at least one owner. Make somebody else owner first.", code="last_owner")
    member, _ = Member.objects.update_or_create(boat=boat, user=user, defaults={"role": role})
    return member


@transaction.atomic
def remove_member(boat: Boat, member: Member) -> None:
    """Take a person off the boat; one owner always stays."""
    lock(boat)
    member = Member.objects.get(pk=member.pk)
    if member.role == Role.OWNER and Member.objects.filter(boat=boat, role=Role.OWNER).count() == 1:
        raise Refused("A boat keeps at least one owner. Make somebody else owner first.", code="last_owner")
    member.delete()


@transaction.atomic
def add_systems(boat: Boat, rows: Iterable[tuple[str, str, bool]]) -> list[System]:
    """Add systems given as name, group, part of the boat; those whose name is there already stay as they are."""
    lock(boat)
    there = set(System.objects.filter(boat=boat).values_list("folded", flat=True))
    made = []
    for name, group, of_the_boat in rows:
        if fold(name) not in there:
            there.add(fold(name))
            made.append(System.objects.create(boat=boat, name=name, group=group, of_the_boat=of_the_boat))
    return made


@transaction.atomic
def change_system(system: System, *, name: str, group: str, of_the_boat: bool) -> System:
    """Rename a system or move it to another group."""
    lock(system.boat)
    if System.objects.filter(boat=system.boat, folded=fold(name)).exclude(pk=system.pk).exists():
        raise Refused(f"There is a system called {name} already.", code="taken", field="name")
    system.name, system.group, system.of_the_boat = name, Group(group), of_the_boat
    system.save()
    return system


@transaction.atomic
def set_budget(system: System, amount: int, *, on: date, by: Any, note: str = "") -> Budget:
    """Set what a system may cost from a day on (minor units). Earlier budgets stay to be read."""
    lock(system.boat)
    if amount < 0:
        raise Refused("A budget is nil or more.", code="negative", field="amount")
    return Budget.objects.create(
        boat=system.boat, system=system, amount=amount, set_on=on, entered_by=by, note=note
    )


@transaction.atomic
def set_contingency(boat: Boat, amount: int, *, on: date, by: Any, note: str = "") -> Contingency:
    """Set what is kept back for what nobody foresaw, from a day on (minor units). Earlier ones stay to be read."""
    lock(boat)
    if amount < 0:
        raise Refused("What is kept back is nil or more.", code="negative", field="amount")
    return Contingency.objects.create(boat=boat, amount=amount, set_on=on, entered_by=by, note=note)
