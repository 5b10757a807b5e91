"""The front door and the health answer."""

import pytest
from django.contrib.sessions.models import Session
from django.db import DatabaseError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from refit.boat.actions import boats
from refit.boat.models import Member
from refit.pages.views import entry
from tests.factory import person


def test_the_only_boat_is_led_to(make, as_owner):
    assert as_owner.get("/").headers["Location"] == f"/{make.boat.slug}/"


def test_several_boats_are_listed_and_those_of_others_are_not(make, as_owner):
    boats.make_boat(make.owner, name="<b>Gull</b>", currency="EUR")
    boats.make_boat(make.outsider, name="Somebody's", currency="EUR")
    page = as_owner.get("/")
    assert page.status_code == 200
    assert "&lt;b&gt;Gull&lt;/b&gt;" in page.text
    assert "<b>Gull" not in page.text
    assert "Test Boat" in page.text
    assert "Somebody" not in page.text


def test_signed_out_it_leads_to_the_sign_in(db):
    assert Client().get("/").headers["Location"] == "/accounts/sign-in/?next=/"


def test_the_owner_of_an_empty_installation_begins_with_a_boat(make, as_owner):
    Member.objects.all().delete()
    make.owner.is_superuser = True
    make.owner.save()
    assert as_owner.get("/").headers["Location"] == "/accounts/boat/"


def test_a_person_on_no_boat_is_told_whom_to_ask(make, as_outsider):
    page = as_outsider.get("/")
    assert page.status_code == 200
    assert "Ask the owner" in page.text
    assert make.boat.name not in page.text


def test_the_list_of_boats_takes_as_many_queries_with_twelve_as_with_two(make, as_owner):
    counts = []
    for how_many in (1, 10):
        for number in range(how_many):
            boats.make_boat(make.owner, name=f"Gull {how_many}-{number}", currency="EUR")
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert as_owner.get("/").status_code == 200
        counts.append(len(queries))
    assert counts == [3, 3]


def test_posting_to_the_front_door_is_no_way_in(make, as_owner):
    assert as_owner.post("/").status_code == 405


def test_health_is_ok_without_signing_in_and_keeps_nothing(db):
    client = Client()
    with CaptureQueriesContext(connection) as queries:
        answer = client.get("/healthz")
    assert (answer.status_code, answer.text) == (200, "ok")
    assert answer.headers["Content-Type"].startswith("text/plain")
    assert [query["sql"] for query in queries] == ["SELECT 1"]
    assert not answer.cookies
    assert not Session.objects.exists()


def test_health_is_503_when_the_database_does_not_answer(db, monkeypatch):
    class Silent:
        def cursor(self):
            raise DatabaseError("gone")

    monkeypatch.setattr(entry, "connection", Silent())
    assert Client().get("/healthz").status_code == 503


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_health_is_only_asked(db, method):
    assert getattr(Client(), method)("/healthz").status_code == 405


def test_nobody_signs_in_by_an_unusable_password(db):
    person("gull")
    answer = Client().post("/accounts/sign-in/", {"username": "gull", "password": ""})
    assert answer.status_code == 200
    assert "_auth_user_id" not in answer.wsgi_request.session
