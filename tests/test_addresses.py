"""The table of addresses: every one names its right, and nobody gets further than their right.

Walks the table itself, so that an address added tomorrow is tested without a line here.
"""

import re
from dataclasses import dataclass

import pytest
from django.apps import apps
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.urls import Resolver404, resolve, reverse

from refit.boat.actions import labels
from refit.boat.models import RESERVED_SLUGS, Location
from refit.boat.rights import RIGHTS, Right, Role
from refit.pages.addresses import ANYWHERE, BOAT
from tests.boat.whole import fill
from tests.conftest import signed_in
from tests.factory import Factory

# Addresses with no boat in them: each says for itself who may, so each is known by name.
NO_BOAT = {
    "home",
    "healthz",
    "sign-in",
    "sign-out",
    "password",
    "first-owner",
    "first-boat",
    "first-label",
    "first-systems",
    "first-lockers",
    "scan",
    "calendar-feed",
}

# The contract of the program with people, scripts and printed labels.
CONTRACT = [
    "/",
    "/L/AB3J",
    "/l/ab3j",
    "/scan/",
    "/{boat}/",
    "/{boat}/lockers/",
    "/{boat}/lockers/AB3J/",
    "/{boat}/parts/",
    "/{boat}/parts/1/",
    "/{boat}/jobs/",
    "/{boat}/jobs/1/",
    "/{boat}/orders/",
    "/{boat}/orders/new/",
    "/{boat}/orders/1/",
    "/{boat}/buy/",
    "/{boat}/spares/",
    "/{boat}/spares.pdf",
    "/{boat}/spares.xlsx",
    "/{boat}/spend/",
    "/{boat}/spend.xlsx",
    "/{boat}/labels/",
    "/{boat}/plan/",
    "/{boat}/plan.pdf",
    "/{boat}/calendar/secret.ics",
    "/healthz",
]


@dataclass(frozen=True)
class Row:
    """One address of the table, filled in for a boat."""

    name: str
    right: Right
    methods: tuple[str, ...]


ROWS = [Row(row.name, row.right, row.methods) for row in BOAT if row.right is not None]
PATHS = {row.name: row.path for row in BOAT}


@pytest.fixture
def full(make: Factory) -> Factory:
    """A boat with one of everything that an address can ask for."""
    return fill(make)


def first(model: str, **facts):
    """Return the first row of a model."""
    return apps.get_model(model).objects.filter(**facts).order_by("pk").first()


def look_up(make: Factory) -> dict:
    """Return what is there on a boat, by the word of an address or the first word of its page."""
    boat = make.boat
    place = Location.objects.get(boat=boat, mark="S1")
    blank = first("boat.Label", boat=boat, location=None)
    by_word = {
        "code": place.code,
        "blank": blank.code,
        "parent": Location.objects.get(boat=boat, name="Saloon").code,
        "holding": first("stores.Holding", boat=boat).pk,
        "entry": first("stores.Entry", boat=boat).pk,
        "need": first("stores.Need", boat=boat).pk,
        "number": 1,
        "papers": "2",
        "made": 1,
        "delivery": first("buying.Delivery", boat=boat).pk,
        "token": "nothing",
        "arrow": first("work.After", boat=boat).pk,
        "booking": first("work.Booking", boat=boat).pk,
        "milestone": first("work.Milestone", boat=boat).pk,
        "away": first("work.DayAway", boat=boat).pk,
        "gear": first("voyage.Gear", boat=boat).pk,
        "lot": first("stores.Lot", boat=boat).pk,
        "kit": first("stores.KitList", boat=boat).pk,
        "line": first("stores.KitListLine", boat=boat).pk,
        "companion": first("stores.Companion", boat=boat).pk,
        "content": first("stores.KitContent", boat=boat).pk,
        "bag": first("work.Bag", boat=boat).pk,
        "needs_named": str(first("stores.Need", boat=boat).pk),
        "offer": first("buying.Offer", boat=boat).pk,
        "orders": "1",
        "lines": str(first("buying.Line", boat=boat).pk),
    }
    by_page = {
        "parts": first("stores.Part", boat=boat).pk,
        "missing": first("stores.Missing", boat=boat).pk,
        "deliveries": first("buying.Delivery", boat=boat).pk,
        "suppliers": first("buying.Supplier", boat=boat).pk,
        "systems": make.system.pk,
        "people": make.member(make.viewer).pk,
        "bills": first("buying.Charge", boat=boat).pk,
        "money-back": first("buying.Credit", boat=boat).pk,
        "going-back": first("buying.Return", boat=boat).pk,
        "payments": first("buying.Payment", boat=boat).pk,
        "sold": first("buying.Disposal", boat=boat).pk,
        "jobs": first("work.Estimate", boat=boat).pk,
        "orders": first("buying.Promise", boat=boat).pk,
    }
    part_number = first("stores.PartNumber", boat=boat).pk
    return {"by_word": by_word, "by_page": by_page, "part_number": part_number}


def arguments(make: Factory, name: str) -> list:
    """Return plausible arguments of an address, of things that are there (looked up once: looking changes none)."""
    if not hasattr(make, "there"):
        make.there = look_up(make)
    by_word, by_page, found = make.there["by_word"], make.there["by_page"], []
    for word in re.findall(r"<\w+:(\w+)>", PATHS[name]):
        if word == "pk":
            found.append(by_page[PATHS[name].split("/")[0]])
        elif name == "part-number-remove" and word == "number":
            found.append(make.there["part_number"])
        elif word == "code" and name.startswith("label"):
            found.append(by_word["blank"])
        else:
            found.append(by_word[word])
    return found


def address(make: Factory, name: str) -> str:
    """Return the address of a page of this boat."""
    return reverse(f"pages:{name}", args=[make.boat.slug, *arguments(make, name)])


def counts() -> dict[str, int]:
    """Return how many rows each table holds, but for sessions."""
    tables = [
        model._meta.db_table
        for model in apps.get_models()
        if model._meta.managed and model._meta.label != "sessions.Session"
    ]
    with connection.cursor() as cursor:  # one question for all of them: it is asked after every address
        cursor.execute(" UNION ALL ".join(f"SELECT '{name}', COUNT(*) FROM \"{name}\"" for name in tables))
        return dict(cursor.fetchall())


def test_every_address_of_a_boat_names_its_right():
    """An address without a right lets anybody in."""
    assert [row.path for row in BOAT if not isinstance(row.right, Right)] == []


def test_addresses_without_a_boat_are_known():
    """A new address outside a boat has to be thought about: it stands in no table of rights."""
    assert {row.name for row in ANYWHERE} == NO_BOAT
    assert [row.right for row in ANYWHERE if row.right is not None] == []


def test_names_and_paths_are_given_once():
    """Two rows of one name would hide each other."""
    for rows in (BOAT, ANYWHERE):
        assert len({row.name for row in rows}) == len(rows)
        assert len({row.path for row in rows}) == len(rows)


def test_methods_are_get_and_post():
    """Nothing else is answered."""
    assert {method for row in (*BOAT, *ANYWHERE) for method in row.methods} <= {"GET", "POST"}
    assert [row.name for row in (*BOAT, *ANYWHERE) if not row.methods] == []


def test_an_address_that_is_looked_at_asks_for_no_more_than_its_right_can_bear():
    """What a viewer may do is look: no address that only changes things is open to a viewer's rights."""
    may_look = RIGHTS[Role.VIEWER]
    assert [row.name for row in BOAT if row.methods == ("POST",) and row.right in may_look] == []


@pytest.mark.parametrize("path", CONTRACT)
def test_the_addresses_of_the_contract_are_there(path):
    """People, scripts and printed labels rely on these."""
    try:
        assert resolve(path.format(boat="kittiwake")).namespace == "pages"
    except Resolver404:
        pytest.fail(f"{path} is not there")


@pytest.mark.parametrize("slug", ["l", "scan", "healthz", "admin", "static", "accounts"])
def test_no_boat_can_stand_where_a_page_stands(slug):
    """The names of pages are no slugs."""
    assert slug in RESERVED_SLUGS


def test_every_first_word_of_an_address_is_reserved():
    """A boat called like the first word of an address would never be found."""
    words = {row.path.split("/")[0] for row in ANYWHERE} - {"", "<slug:boat>"}
    assert words <= set(RESERVED_SLUGS)


def ask(client: Client, method: str, where: str) -> HttpResponse:
    """Send a GET or an empty POST."""
    answer = client.get(where) if method == "GET" else client.post(where)
    if answer.streaming:
        for close in answer._resource_closers:  # a paper is sent from an open file
            close()
    return answer


def test_an_outsider_finds_nothing(full, as_outsider):
    """Not yours looks like not there, whatever is asked."""
    before = counts()
    asked = [(method, address(full, row.name)) for row in ROWS for method in row.methods]
    assert [(m, where) for m, where in asked if ask(as_outsider, m, where).status_code != 404] == []
    assert counts() == before


def test_the_signed_out_are_asked_to_sign_in(full):
    """Whatever is asked, one is led to sign in, and from there back."""
    nobody, before, wrong = Client(), counts(), []
    for row in ROWS:
        where = address(full, row.name)
        for method in row.methods:
            answer = ask(nobody, method, where)
            if answer.status_code != 302 or answer["Location"] != f"/accounts/sign-in/?next={where}":
                wrong.append((method, where, answer.status_code))
    assert wrong == []
    assert counts() == before


@pytest.mark.parametrize("role", Role.values)
def test_a_right_that_one_lacks_is_refused(full, role):
    """What one may see but not change answers 403, and nothing is written."""
    client = signed_in(getattr(full, role))
    before = counts()
    lacking = [row for row in ROWS if row.right not in RIGHTS[role]]
    asked = [(method, address(full, row.name)) for row in lacking for method in row.methods]
    assert [(m, where) for m, where in asked if ask(client, m, where).status_code != 403] == []
    assert counts() == before
    assert bool(lacking) == (role != Role.OWNER)


@pytest.mark.parametrize("role", [Role.OWNER, Role.TRADE])
def test_looking_writes_nothing(full, role):
    """A GET changes no table, whoever asks and however the list is narrowed."""
    client = signed_in(getattr(full, role))
    client.get(f"/{full.boat.slug}/")
    wrong, before = [], counts()
    for row in ROWS:
        if "GET" in row.methods:
            where = address(full, row.name)
            for query in ("", "?q=imp&sort=name&page=2"):
                if ask(client, "GET", where + query).status_code not in (200, 302, 403, 404):
                    wrong.append(f"{where}{query} fails")
            if counts() != before:
                wrong.append(f"{where} writes")
                before = counts()
    assert wrong == []


def test_what_changes_things_is_not_reached_by_looking(full, as_owner):
    """A link that is followed by mistake does nothing."""
    before = counts()
    deeds = [address(full, row.name) for row in ROWS if "GET" not in row.methods]
    assert [where for where in deeds if as_owner.get(where).status_code != 405] == []
    assert counts() == before


@pytest.mark.parametrize("number", [0, 987654, 10**25])
def test_a_number_that_is_not_there_is_not_found(full, as_owner, number):
    """Neither an unknown number nor one that no database could hold is an error of ours."""
    wrong, before = [], counts()
    for row in ROWS:
        given = arguments(full, row.name)
        for place, value in enumerate(given):
            if isinstance(value, int):
                where = reverse(
                    f"pages:{row.name}", args=[full.boat.slug, *given[:place], number, *given[place + 1 :]]
                )
                wrong += [(m, where) for m in row.methods if ask(as_owner, m, where).status_code != 404]
    assert wrong == []
    assert counts() == before


def test_another_boats_things_are_not_found(full, as_owner):
    """Another boat's code or number under this boat's address is not there."""
    other = fill(Factory.start("Other Boat", prefix="other"))
    label = labels.mint(other.boat, 1)[0]
    wrong, before = [], counts()
    for row in ROWS:
        words = re.findall(r"<\w+:(\w+)>", PATHS[row.name])
        given, foreign = arguments(full, row.name), arguments(other, row.name)
        for place, word in enumerate(words):
            if word in ("number", "papers", "made", "orders") and row.name != "part-number-remove":
                continue  # the numbers of jobs, orders and papers are counted for each boat
            value = label.code if foreign[place] is None else foreign[place]
            where = reverse(
                f"pages:{row.name}", args=[full.boat.slug, *given[:place], value, *given[place + 1 :]]
            )
            wrong += [(m, where) for m in row.methods if ask(as_owner, m, where).status_code != 404]
    assert wrong == []
    assert counts() == before


def test_health_is_open_to_all(client, db):
    """A watchman needs no password."""
    assert client.get("/healthz").status_code == 200
