"""The boat's people: added, given another role, taken off; one owner always stays."""

import re
from html import unescape

import pytest
from django.contrib.auth import authenticate
from django.contrib.auth.models import User
from django.test import RequestFactory

from refit.boat.formkeys import new_key
from refit.boat.models import Member
from refit.boat.rights import Role
from tests.factory import Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
LIST = "/test-boat/people/"
NEW = {"name": "Ada", "sign_in": "ada", "password": "long enough words", "role": "crew"}


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def address(make, user, rest="") -> str:
    return f"{LIST}{make.member(user).pk}/{rest}"


def test_the_list_names_everybody_with_their_role(make, as_owner):
    said = text_of(as_owner.get(LIST))
    assert "Owner signs in as owner , that is you Owner" in said
    assert "Trade signs in as trade Trade (contractor)" in said


def test_a_new_person_can_sign_in_and_see_the_boat(make, as_owner, client):
    assert "Ada is crew now." in text_of(as_owner.post(LIST, NEW, follow=True))
    user = authenticate(RequestFactory().post("/"), username="ada", password="long enough words")
    assert make.member(user).role == Role.CREW
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/test-boat/").status_code == 200


def test_somebody_who_signs_in_here_already_is_added_without_a_password(make, as_owner):
    as_owner.post(LIST, {**NEW, "sign_in": "Outsider", "password": "", "role": "viewer"})
    assert make.member(make.outsider).role == Role.VIEWER
    assert make.outsider.check_password("") is False


@pytest.mark.parametrize(
    "wrong",
    [
        {"sign_in": ""},
        {"sign_in": "ada lovelace"},
        {"sign_in": "x" * 61},
        {"sign_in": "Owner"},
        {"password": ""},
        {"password": "short"},
        {"password": "password123"},
        {"role": "captain"},
        {"role": ""},
        {"name": "x" * 100_000},
        {"sign_in": "crew", "password": ""},
    ],
)
def test_a_bad_person_is_not_added(make, as_owner, wrong):
    response = as_owner.post(LIST, {**NEW, **wrong})
    assert response.status_code == 422
    assert "To put right" in text_of(response)
    assert Member.objects.count() == 4
    assert User.objects.count() == 5


def test_a_password_is_never_sent_back(make, as_owner):
    assert "long enough words" not in as_owner.post(LIST, {**NEW, "role": ""}).content.decode()


def test_the_same_form_twice_adds_one(make, as_owner):
    sent = {**NEW, "form_key": new_key()}
    assert [as_owner.post(LIST, sent).status_code for _ in range(2)] == [302, 302]
    assert User.objects.filter(username="ada").count() == 1


def test_a_role_is_changed_and_undone(make, as_owner):
    response = as_owner.post(address(make, make.viewer), {"role": "crew"}, follow=True)
    assert make.member(make.viewer).role == Role.CREW
    undo = re.search(r'<form method="post" action="([^"]+\?role=viewer)">', response.content.decode())[1]
    as_owner.post(undo)
    assert make.member(make.viewer).role == Role.VIEWER


def test_a_person_added_by_mistake_is_taken_off_by_undo(make, as_owner):
    response = as_owner.post(LIST, NEW, follow=True)
    undo = re.search(
        r'<form method="post" action="([^"]+/remove/)">[^/]+<button>Undo', response.content.decode()
    )[1]
    as_owner.post(undo)
    assert not Member.objects.filter(user__username="ada").exists()


def test_a_person_is_taken_off_and_finds_the_boat_no_more(make, as_owner, as_crew):
    make.job(given_to=make.member(make.crew))
    as_owner.post(address(make, make.crew, "remove/"))
    assert as_crew.get("/test-boat/").status_code == 404
    assert User.objects.filter(username="crew").exists()
    assert make.boat.jobs.get().given_to is None


@pytest.mark.parametrize(("rest", "sent"), [("", {"role": "crew"}), ("remove/", {})])
def test_the_last_owner_stays(make, as_owner, rest, sent):
    response = as_owner.post(address(make, make.owner, rest), sent, follow=True)
    assert "keeps at least one owner" in text_of(response)
    assert make.member(make.owner).role == Role.OWNER


def test_an_unknown_role_changes_nothing(make, as_owner):
    response = as_owner.post(address(make, make.viewer), {"role": "captain"}, follow=True)
    assert "Choose a role" in text_of(response)
    assert make.member(make.viewer).role == Role.VIEWER


@pytest.mark.parametrize(
    ("method", "rest"), [("GET", ""), ("POST", ""), ("POST", "{}/"), ("POST", "{}/remove/")]
)
def test_only_the_owner_decides_about_people(make, as_crew, as_viewer, as_outsider, client, method, rest):
    at = LIST + rest.format(make.member(make.viewer).pk)
    assert as_crew.generic(method, at).status_code == 403
    assert as_viewer.generic(method, at).status_code == 403
    assert as_outsider.generic(method, at).status_code == 404
    assert client.generic(method, at).status_code == 302
    assert Member.objects.count() == 4


def test_a_member_of_another_boat_is_not_found(make, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    for pk in (other.member(other.crew).pk, 0, 99999999999999999999999):
        assert as_owner.post(f"{LIST}{pk}/", {"role": "viewer"}).status_code == 404
        assert as_owner.post(f"{LIST}{pk}/remove/").status_code == 404
    assert other.member(other.crew).role == Role.CREW


def test_looking_changes_nobody(make, as_owner):
    assert as_owner.get(address(make, make.crew)).status_code == 405
    assert as_owner.get(address(make, make.crew, "remove/")).status_code == 405


def test_names_that_would_run_stay_words(make, as_owner):
    evil = "<script>alert(1)</script>"
    User.objects.filter(pk=make.crew.pk).update(first_name=evil)
    assert evil not in as_owner.get(LIST).content.decode()


def test_the_list_takes_the_same_queries_with_10_and_110_people(make, as_owner, django_assert_num_queries):
    for count in (6, 100):
        for _ in range(count):
            make.made += 1
            user = User.objects.create(username=f"hand{make.made}", first_name="Hand")
            Member.objects.create(boat=make.boat, user=user, role=Role.VIEWER)
        with django_assert_num_queries(4):
            assert as_owner.get(LIST).status_code == 200
