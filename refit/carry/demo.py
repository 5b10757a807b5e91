"""The demo boat: made from the data files in demo/ through the program's own actions, in one transaction.

Decides when a database may hold the demo and in which order things happened. What happened is in the data; whether
it may happen, the actions decide. `today` is an argument, and no total depends on it.
"""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import connection, transaction

from refit.boat import guards
from refit.boat.actions import boats
from refit.boat.models import Boat, Label, Location, System
from refit.carry.demo_buying import Buying
from refit.carry.demo_dates import Dates
from refit.carry.demo_doing import Doing
from refit.carry.demo_files import Files, Row
from refit.carry.demo_money import Money
from refit.carry.demo_papers import Papers
from refit.carry.demo_payments import Payments
from refit.carry.demo_plans import Plans
from refit.carry.demo_stores import Stores
from refit.carry.demo_terms import Terms
from refit.carry.demo_wants import Wants

SLUG = "kittiwake"
Say = Callable[[str], None]


class NotForDemo(Exception):
    """This database holds something else; the demo leaves it alone."""


def check_database() -> None:
    """Raise `NotForDemo` unless the database is empty or holds the demo and nothing else. Writes nothing."""
    tables = set(connection.introspection.table_names())
    if not tables:
        return
    if "boat_boat" not in tables:
        raise NotForDemo("The database holds tables of another program")
    # By name alone: an older database, not migrated yet, has not every column of a boat.
    other = Boat.objects.filter(is_demo=False).order_by("pk").values_list("name", flat=True).first()
    if other is not None:
        raise NotForDemo(f"The database holds a boat of its own, {other}")
    if User.objects.exists() and not Boat.objects.exists():
        raise NotForDemo("The database has people in it already, and no demo")


def existing() -> Boat | None:
    """Return the demo boat if it was made before."""
    return Boat.objects.filter(is_demo=True, slug=SLUG).first()


def empty() -> None:
    """Empty the database of the demo. The ledger suffers no deletion, so its guards are lifted meanwhile."""
    check_database()
    with guards.lifted(connection):
        call_command("flush", interactive=False, verbosity=0)


def people(files: Files) -> list[dict[str, str]]:
    """Return the people of the demo with their passwords, as the data has them."""
    return list(files.facts("boat.toml")["people"])


@transaction.atomic
def build(files: Files, say: Say) -> Boat:
    """Make the demo boat with everything on it, as if it were all written down on its day."""
    facts = files.facts("boat.toml")
    users = {row["name"]: _person(row) for row in facts["people"]}
    boat = _boat(facts, users, files.made_on + timedelta(days=facts["bought"]))
    say("The boat and its people")
    systems = _systems(boat, files, users["skipper"])
    say(f"{len(systems)} systems with their budgets")
    stores = Stores(boat, files, users, systems)
    say(stores.lay_out())
    say(stores.list_parts())
    say(stores.list_jobs())
    buying = Buying(boat, files, users, systems, stores)
    wants = Wants(boat, files, users, stores)
    wants.set_up()
    deeds = [
        *stores.happenings(),
        *buying.happenings(),
        *Money(buying).happenings(),
        *Payments(buying).happenings(),
        *Plans(boat, files, users, systems, stores).happenings(),
        *wants.happenings(),
    ]
    happened = sorted(deeds, key=lambda event: event.when)
    for done, event in enumerate(happened, start=1):
        event.do()
        if done % 100 == 0:
            say(f"{done} of {len(happened)} things that happened")
    say(f"{len(happened)} things that happened: orders, arrivals, bills, money back, payments, in and out")
    say(Dates(boat, files, stores).set_down())
    stores.finish_jobs()
    say(wants.want())
    say(Terms(boat, files, users, buying).set_down())
    say(Papers(boat, users["skipper"], buying).draw())
    say(Doing(boat, files, users, systems, stores).write_down())
    return boat


def _person(row: dict[str, str]) -> User:
    make = User.objects.create_superuser if row["role"] == "owner" else User.objects.create_user
    return make(row["name"], password=row["password"], first_name=row["first_name"])


def _boat(facts: dict[str, Any], users: dict[str, User], bought_on: date) -> Boat:
    owners = [row["name"] for row in facts["people"] if row["role"] == "owner"]
    boat = boats.make_boat(users[owners[0]], **facts["boat"], bought_on=bought_on, is_demo=True)
    for row in facts["people"]:
        boats.add_member(boat, users[row["name"]], row["role"])
    # The place for what is not stowed yet comes with a code drawn by lot; the demo's codes stand in its data.
    code = facts["not_stowed_code"]
    Label.objects.filter(boat=boat).update(code=code)
    Location.objects.filter(boat=boat).update(code=code)
    return boat


def _systems(boat: Boat, files: Files, owner: User) -> dict[str, System]:
    rows = list(files.rows("systems.csv"))
    made = boats.add_systems(
        boat, [(row.given("name"), row.given("group"), row.yes("of_the_boat")) for row in rows]
    )
    systems = {system.name: system for system in made}
    for row in rows:
        _budget(systems[row.given("name")], row, owner)
    return systems


def _budget(system: System, row: Row, owner: User) -> None:
    pounds = row.number_or_none("budget")
    if pounds is not None:
        first = row.made_on - timedelta(days=280)
        boats.set_budget(system, int(pounds * 100), on=first, by=owner, note=row.text("note"))


def made_on(boat: Boat) -> date:
    """Return the day the demo was made."""
    return boat.created_at.date()
