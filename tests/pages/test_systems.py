"""Systems, budgets, and the boat's own facts."""

import re
from datetime import date
from decimal import Decimal
from html import unescape

import pytest

from refit.boat.actions.boats import set_budget
from refit.boat.formkeys import new_key
from refit.boat.models import Boat, Budget, System
from refit.boat.usual import USUAL_SYSTEMS
from tests.factory import Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
LIST, BOAT = "/test-boat/systems/", "/test-boat/boat/"
EVIL = "<script>alert(1)</script>"


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def one(make) -> str:
    return f"{LIST}{make.system.pk}/"


def test_the_list_shows_groups_budgets_and_what_is_counted(make, as_crew):
    set_budget(make.system, 123456, on=make.today, by=make.owner)
    make.order(make.line(job=make.job()))
    said = text_of(as_crew.get(LIST))
    assert "£1,234.56 budgeted in all" in said
    assert "Engine Engine 1 1 1,234.56" in said
    assert "Yard beside the boat none set" in said


def test_usual_systems_are_added_by_ticking(make, as_crew):
    as_crew.post(LIST, {"usual": ["0", "27"]})
    names = set(System.objects.values_list("name", "of_the_boat"))
    assert {(USUAL_SYSTEMS[0][0], True), (USUAL_SYSTEMS[27][0], False)} < names
    assert "Hull and keel</label>" not in as_crew.get(LIST).content.decode()


def test_a_new_boat_finds_most_of_them_ticked(make, as_crew):
    make.boat.systems.all().delete()
    page = as_crew.get(LIST).content.decode()
    assert page.count(" checked") == sum(row[3] for row in USUAL_SYSTEMS) + 1  # and "part of the boat"


def test_one_of_ones_own_is_added(make, as_crew):
    as_crew.post(LIST, {"name": "Windvane", "group": "500", "of_the_boat": "on"})
    system = System.objects.get(name="Windvane")
    assert (system.group, system.of_the_boat) == ("500", True)


def test_ticking_the_same_twice_adds_once(make, as_crew):
    sent = {"usual": ["0", "1"], "form_key": new_key()}
    assert [as_crew.post(LIST, sent).status_code for _ in range(2)] == [302, 302]
    assert System.objects.count() == 4


@pytest.mark.parametrize(
    "wrong",
    [
        {"usual": []},
        {"usual": ["999"]},
        {"name": ""},
        {"name": "- -", "group": "500"},
        {"name": "x" * 61, "group": "500"},
        {"name": "Windvane", "group": "150"},
        {"name": "engine", "group": "200"},
    ],
)
def test_a_bad_system_adds_nothing(make, as_crew, wrong):
    response = as_crew.post(LIST, wrong)
    assert response.status_code == 422
    assert System.objects.count() == 2


def test_the_same_form_twice_adds_once(make, as_crew):
    sent = {"name": "Windvane", "group": "500", "form_key": new_key()}
    assert [as_crew.post(LIST, sent).status_code for _ in range(2)] == [302, 302]
    assert System.objects.filter(name="Windvane").count() == 1


def test_a_system_is_changed(make, as_crew):
    as_crew.post(one(make), {"name": "Engine and shaft", "group": "300"})
    make.system.refresh_from_db()
    assert (make.system.name, make.system.group, make.system.of_the_boat) == (
        "Engine and shaft",
        "300",
        False,
    )


@pytest.mark.parametrize("wrong", [{"name": "Yard"}, {"name": ""}, {"group": "x"}, {"name": "x" * 100_000}])
def test_a_bad_change_changes_nothing(make, as_crew, wrong):
    response = as_crew.post(one(make), {"name": "Engine", "group": "200", **wrong})
    assert response.status_code == 422
    assert "To put right" in text_of(response)
    make.system.refresh_from_db()
    assert (make.system.name, make.system.group) == ("Engine", "200")


def undo(client, response) -> None:
    address = re.search(r'<form method="post" action="([^"]+)">[^/]+<button>Undo', response.content.decode())[
        1
    ]
    assert client.post(unescape(address), follow=True).status_code == 200


def test_each_change_is_undone(make, as_owner):
    undo(as_owner, as_owner.post(one(make), {"name": "Motor", "group": "300"}, follow=True))
    make.system.refresh_from_db()
    assert (make.system.name, make.system.group, make.system.of_the_boat) == ("Engine", "200", True)
    set_budget(make.system, 123450, on=date(2026, 1, 1), by=make.owner)
    undo(as_owner, as_owner.post(f"{one(make)}budget/", {"amount": "5", "on": "2026-03-01"}, follow=True))
    assert "may cost £1,234.50" in text_of(as_owner.get(one(make)))
    as_owner.post(BOAT, {**FACTS, "length_m": "12.3", "flag": "GB"}, follow=True)
    undo(as_owner, as_owner.post(BOAT, {**FACTS, "name": "Other"}, follow=True))
    boat = Boat.objects.get()
    assert (boat.name, boat.flag, boat.length_m) == ("Test Boat", "GB", Decimal("12.3"))


def test_a_budget_is_set_and_earlier_ones_stay_to_be_read(make, as_crew):
    set_budget(make.system, 100000, on=date(2026, 1, 1), by=make.owner, note="first guess")
    sent = {"amount": "1,234.50", "on": "2026-03-01", "note": "after the survey", "form_key": new_key()}
    for _ in range(2):
        as_crew.post(f"{one(make)}budget/", sent)
    assert list(Budget.objects.order_by("id").values_list("amount", "set_on")) == [
        (100000, date(2026, 1, 1)),
        (123450, date(2026, 3, 1)),
    ]
    said = text_of(as_crew.get(one(make)))
    assert "may cost £1,234.50" in said
    assert (
        "1 Mar 2026 counts now after the survey · Crew 1,234.50 1 Jan 2026 first guess · Owner 1,000.00"
        in said
    )


@pytest.mark.parametrize(
    "wrong",
    [
        {"amount": "-1"},
        {"amount": ""},
        {"amount": "1e9"},
        {"amount": "1.005"},
        {"amount": "99999999999"},
        {"on": ""},
        {"on": "20226-01-01"},
        {"note": "x" * 201},
    ],
)
def test_a_bad_budget_changes_nothing(make, as_crew, wrong):
    response = as_crew.post(f"{one(make)}budget/", {"amount": "5", "on": "2026-03-01", **wrong})
    assert response.status_code == 422
    assert not Budget.objects.exists()


@pytest.mark.parametrize(
    ("method", "rest"), [("GET", ""), ("POST", ""), ("GET", "{}/"), ("POST", "{}/"), ("POST", "{}/budget/")]
)
def test_the_wrong_person_gets_nowhere(make, as_outsider, as_viewer, as_trade, client, method, rest):
    address = LIST + rest.format(make.system.pk)
    assert as_outsider.generic(method, address).status_code == 404
    assert as_viewer.generic(method, address).status_code == 403
    assert as_trade.generic(method, address).status_code == 403
    assert client.generic(method, address).status_code == 302


def test_what_is_not_this_boats_is_not_found(make, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    for pk in (other.system.pk, 0, 99999999999999999999999):
        assert as_owner.get(f"{LIST}{pk}/").status_code == 404
        assert as_owner.post(f"{LIST}{pk}/budget/", {"amount": "5", "on": "2026-03-01"}).status_code == 404
    assert as_owner.get(f"{one(make)}budget/").status_code == 405
    assert not Budget.objects.exists()


def test_names_that_would_run_stay_words(make, as_owner):
    make.system.name = EVIL
    make.system.save()
    set_budget(make.system, 5, on=make.today, by=make.owner, note=EVIL)
    for address in (LIST, one(make)):
        assert EVIL not in as_owner.get(address).content.decode()


def test_the_list_takes_the_same_queries_with_10_and_100_systems(make, as_owner, django_assert_num_queries):
    for count in (8, 90):
        for _ in range(count):
            make.made += 1
            system = System.objects.create(boat=make.boat, name=f"System {make.made}", group="500")
            set_budget(system, 5, on=make.today, by=make.owner)
            make.job(system=system)
        with django_assert_num_queries(7):
            assert as_owner.get(LIST).status_code == 200


# The boat


FACTS = {"name": "Test Boat", "units": "metric", "time_zone": "Europe/London"}


def test_the_boats_facts_are_kept(make, as_owner):
    sent = {
        **FACTS,
        "length_m": "12,3",
        "year_built": "1979",
        "flag": "GB",
        "builder": "A yard",
        "hull_number": "7",
    }
    assert as_owner.post(BOAT, sent).status_code == 302
    boat = Boat.objects.get()
    assert (boat.length_m, boat.year_built, boat.flag, boat.time_zone) == (
        Decimal("12.3"),
        1979,
        "GB",
        "Europe/London",
    )
    page = as_owner.get(BOAT).content.decode()
    assert 'value="12.3"' in page
    assert 'value="1979"' in page


def test_lengths_are_typed_in_feet_where_she_is_kept_in_feet(make, as_owner):
    """The foot is 0.3048 m exactly (international yard and pound agreement, 1959): 40.35 ft are 12.30 m."""
    Boat.objects.update(units="imperial")
    sent = {**FACTS, "units": "imperial", "length_m": "40.35"}
    as_owner.post(BOAT, sent)
    assert Boat.objects.get().length_m == Decimal("12.30")
    page = as_owner.get(BOAT).content.decode()
    assert "Length, ft" in page
    assert 'value="40.35"' in page


@pytest.mark.parametrize(
    ("typed", "zone"),
    [("europe/london", "Europe/London"), ("Punta Arenas", "America/Punta_Arenas"), ("utc", "UTC")],
)
def test_a_time_zone_is_known_by_its_town(make, as_owner, typed, zone):
    as_owner.post(BOAT, {**FACTS, "time_zone": typed})
    assert Boat.objects.get().time_zone == zone


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"name": "x" * 81},
        {"length_m": "-3"},
        {"length_m": "12.345"},
        {"length_m": "long"},
        {"year_built": "3000"},
        {"year_built": "1979.5"},
        {"units": "cubits"},
        {"time_zone": "Mars/Base"},
        {"time_zone": "../../etc/passwd"},
        {"call_sign": "x" * 13},
    ],
)
def test_a_bad_fact_changes_nothing(make, as_owner, wrong):
    response = as_owner.post(BOAT, {**FACTS, "flag": "GB", **wrong})
    assert response.status_code == 422
    assert "To put right" in text_of(response)
    assert Boat.objects.get().flag == ""


def test_the_boats_money_cannot_be_changed_by_a_form(make, as_owner):
    as_owner.post(BOAT, {**FACTS, "currency": "EUR", "slug": "mine"})
    boat = Boat.objects.get()
    assert (boat.currency, boat.slug) == ("GBP", "test-boat")


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_only_the_owner_changes_the_boat(make, as_crew, as_outsider, method):
    assert as_crew.generic(method, BOAT).status_code == 403
    assert as_outsider.generic(method, BOAT).status_code == 404
