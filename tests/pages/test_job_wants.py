"""What a job wants: a part by name or number, or in words; taken, closed, taken off, undone."""

import re

import pytest
from django.test import Client

from refit.stores.actions.parts import add_need
from refit.stores.models import Holding, Movement, Need
from tests.factory import D, Factory
from tests.pages.test_jobs import LIST, text_of, undo

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


def need(client: Client, **sent):
    return client.post(f"{LIST}1/need/", {"words": "", "part": "", "quantity": "2", **sent}, follow=True)


@pytest.mark.parametrize("typed", ["Impeller, raw water", "impeller, RAW-water", "09-1027", "091027"])
def test_a_part_is_known_by_its_name_or_any_number(make, as_crew, typed):
    make.job()
    part = make.part("Impeller, raw water", numbers=[("maker", "09-1027", "")])
    make.part("Impeller, other")
    assert "Job 1 wants Impeller, raw water." in text_of(need(as_crew, words=typed))
    assert Need.objects.get().part == part


def test_what_could_be_several_parts_is_asked_without_script(make, as_crew):
    make.job()
    one, _ = make.part("Impeller, raw water"), make.part("Impeller, fresh water")
    make.stock(one, make.place(), 3)
    response = need(as_crew, words="impel")
    assert response.status_code == 422
    assert "Impeller, raw water 3 aboard" in text_of(response)
    assert not Need.objects.exists()
    need(as_crew, words="impel", pick=str(one.pk))
    assert Need.objects.get().part == one
    need(as_crew, words="impel", as_words="1")
    assert Need.objects.filter(part=None).get().words == "impel"


def test_what_is_no_part_stays_in_words(make, as_crew):
    make.job()
    need(as_crew, words="a long drill")
    assert Need.objects.get().words == "a long drill"


def test_words_typed_after_a_choice_mean_something_else(make, as_crew):
    make.job()
    part = make.part("Impeller")
    need(as_crew, words="a long drill", part=str(part.pk))
    assert Need.objects.get().part is None


def test_while_typing_the_parts_that_come_near_are_shown(make, as_crew):
    make.job()
    part = make.part('Impeller "XL"')
    make.order(make.line(part, packs=D(5)))
    page = as_crew.get(f"{LIST}1/", {"words": "imp"}, headers={"HX-Request": "true"}).content.decode()
    assert "0 aboard, 5 on order" in page
    assert "<html" not in page
    assert (
        "stays in your words"
        in as_crew.get(f"{LIST}1/", {"words": "zz"}, headers={"HX-Request": "true"}).content.decode()
    )


@pytest.mark.parametrize(
    "wrong",
    [
        {"quantity": "0"},
        {"quantity": "-1"},
        {"quantity": "1e3"},
        {"quantity": "1000000"},
        {"quantity": ""},
        {"words": ""},
        {"words": "x" * 100_000},
        {"pick": "99999999999999999999999"},
        {"pick": "x"},
        {"part": "12"},
    ],
)
def test_a_bad_want_changes_nothing(make, as_crew, wrong):
    make.job()
    response = need(as_crew, **{"words": "a long drill", **wrong})
    assert response.status_code == 422
    assert "To put right" in text_of(response)
    assert not Need.objects.exists()


def test_a_part_of_another_boat_is_refused(make, as_crew):
    make.job()
    other = Factory.start(name="Other", prefix="other-")
    assert need(as_crew, words="x", pick=str(other.part().pk)).status_code == 422
    assert not Need.objects.exists()


def test_each_change_of_what_it_wants_is_undone(make, as_crew):
    job, part = make.job(), make.part("Impeller")
    undo(as_crew, need(as_crew, words="Impeller"))
    assert not Need.objects.exists()
    first = add_need(job, part=part, words="", quantity=D("2.5"))
    close = as_crew.post(f"{LIST}1/need/{first.pk}/close/", follow=True)
    assert "has it" in text_of(close)
    undo(as_crew, close)
    assert Need.objects.get().met_at is None
    undo(as_crew, as_crew.post(f"{LIST}1/need/{first.pk}/remove/", follow=True))
    assert (Need.objects.get().part, Need.objects.get().quantity) == (part, D("2.5"))


def test_what_it_wants_is_taken_from_the_page_with_one_tap(make, as_crew):
    job, part, place = make.job(), make.part("Impeller"), make.place("S3")
    add_need(job, part=part, words="", quantity=D(2))
    held = make.stock(part, place, 3)
    page = as_crew.get(f"{LIST}1/").content.decode()
    form = re.search(r'<form method="post" action="([^"]+/take/[^"]+)">(.*?)</form>', page, re.S)
    sent = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form[2]))
    sent.pop("csrfmiddlewaretoken", None)
    assert as_crew.post(form[1], sent).status_code == 302
    held.refresh_from_db()
    assert held.quantity == 1
    assert Movement.objects.filter(job=job).get().quantity == 2
    assert Holding.objects.count() == 1
