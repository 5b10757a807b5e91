"""Bag and tag: from a blank label or a job's page; months later the label shows how it came apart."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from refit.boat.actions import labels
from refit.boat.formkeys import new_key
from refit.boat.models import Label, Location, PlacePaper
from refit.stores.models import Need
from refit.work.actions import set_state
from refit.work.models import Bag
from tests.pages.test_jobs import text_of, undo
from tests.pictures import picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
BOAT = "/test-boat/"


@pytest.fixture
def job(make):
    make.place("F1")
    return make.job("Windlass")


@pytest.fixture
def label(make) -> Label:
    return labels.mint(make.boat, 1)[0]


def photos(*words: str) -> list[SimpleUploadedFile]:
    return [SimpleUploadedFile(f"{word}.jpg", picture(word), content_type="image/jpeg") for word in words]


def bag_up(client, label: Label, **sent):
    given = {"job": "1", "what": "Windlass motor", "to": "F1", "photos": photos("a", "b", "c"), **sent}
    return client.post(f"{BOAT}labels/{label.code}/bag/", given, follow=True)


def test_a_blank_label_becomes_a_bag_in_one_form(make, as_crew, job, label):
    assert "A bag for something taken apart" in text_of(as_crew.get(f"{BOAT}labels/{label.code}/"))
    page = bag_up(as_crew, label, note="The long spring goes aft.")
    said = text_of(page)
    assert f"Windlass motor lies in bag {label.code}, in F1." in said
    assert "The long spring goes aft." in said
    assert as_crew.get(f"/L/{label.code}").headers["Location"] == f"{BOAT}lockers/{label.code}/"
    steps = re.findall(r'alt="Step (\d) of Windlass motor" src="[^"]*/papers/(\d+)/"', page.content.decode())
    assert steps == [("1", "1"), ("2", "2"), ("3", "3")]
    assert "Windlass motor" in text_of(as_crew.get(f"{BOAT}jobs/1/"))


def test_the_bag_is_taken_back(make, as_crew, job, label):
    undo(as_crew, bag_up(as_crew, label))
    assert not Bag.objects.exists()
    assert Location.objects.get(code=label.code).retired_at is not None


def test_sent_twice_there_is_one_bag(as_crew, job, label):
    key = new_key()
    bag_up(as_crew, label, form_key=key)
    assert bag_up(as_crew, label, form_key=key).status_code == 200
    assert Bag.objects.count() == 1


def test_more_photos_come_after_those_that_are_there(make, as_crew, job, label):
    bag_up(as_crew, label)
    bag = Bag.objects.get()
    page = as_crew.post(f"{BOAT}bags/{bag.pk}/photos/", {"photos": photos("d", "e")}, follow=True)
    order = list(PlacePaper.objects.filter(location=bag.place).values_list("paper__number", flat=True))
    assert order == [1, 2, 3, 4, 5]
    undo(as_crew, page)
    assert PlacePaper.objects.filter(location=bag.place).count() == 3
    as_crew.post(f"{BOAT}bags/{bag.pk}/photos/", {})
    assert PlacePaper.objects.filter(location=bag.place).count() == 3


def test_what_must_be_bought_is_wanted_by_the_job(make, as_crew, job, label):
    bag_up(as_crew, label)
    bag = Bag.objects.get()
    page = as_crew.post(f"{BOAT}bags/{bag.pk}/need/", {"words": "shear pin", "quantity": "2"}, follow=True)
    assert "Job 1 wants shear pin." in text_of(page)
    assert (Need.objects.get().job, Need.objects.get().bag) == (job, bag)
    undo(as_crew, page)
    assert not Need.objects.exists()
    assert as_crew.post(f"{BOAT}bags/{bag.pk}/need/", {"words": "", "quantity": "2"}).status_code == 422


def test_it_is_put_together_again_and_its_words_are_changed(make, as_crew, job, label):
    bag_up(as_crew, label)
    bag = Bag.objects.get()
    page = as_crew.post(f"{BOAT}bags/{bag.pk}/together/", follow=True)
    assert "together again" in text_of(page)
    undo(as_crew, page)
    bag.refresh_from_db()
    assert bag.back_on is None
    page = as_crew.post(f"{BOAT}bags/{bag.pk}/change/", {"what": "Motor", "note": "mind"}, follow=True)
    undo(as_crew, page)
    bag.refresh_from_db()
    assert (bag.what, bag.note) == ("Windlass motor", "")
    assert as_crew.get(f"{BOAT}bags/{bag.pk}/change/").status_code == 200
    assert as_crew.post(f"{BOAT}bags/{bag.pk}/change/", {"what": ""}).status_code == 422


@pytest.mark.parametrize(
    "wrong",
    [
        {"job": ""},
        {"job": "77"},
        {"what": ""},
        {"what": "x" * 121},
        {"to": ""},
        {"to": "nowhere"},
        {"photos": [SimpleUploadedFile("x.jpg", b"no picture")]},
    ],
)
def test_a_bad_bag_leaves_the_label_blank(as_crew, job, label, wrong):
    assert bag_up(as_crew, label, **wrong).status_code == 422
    label.refresh_from_db()
    assert label.location is None
    assert not Bag.objects.exists()


def test_from_the_jobs_page_the_label_is_typed_or_made(make, as_crew, job, label):
    sent = {"job": "1", "what": "Pump", "to": "F1"}
    as_crew.post(f"{BOAT}jobs/1/bag/", sent | {"label": f"http://boat.local:8000/L/{label.code}"})
    assert Bag.objects.get().place.code == label.code
    for wrong in (label.code, "0000", "??"):
        assert as_crew.post(f"{BOAT}jobs/1/bag/", sent | {"label": wrong}).status_code == 422
    as_crew.post(f"{BOAT}jobs/1/bag/", sent)
    assert Bag.objects.count() == 2


def test_jobs_in_hand_come_first(make, as_crew, job, label):
    newer = make.job("Newer")
    set_state(job, "in_hand", today=make.today)
    page = as_crew.get(f"{BOAT}labels/{label.code}/bag/").content.decode()
    assert re.findall(r'<option value="(\d+)"', page) == [str(job.number), str(newer.number)]


def test_who_gets_there(make, as_crew, as_viewer, as_outsider, job, label):
    bag_up(as_crew, label)
    bag = Bag.objects.get()
    for deed in ("photos", "together", "apart", "undo", "change", "need"):
        path = f"{BOAT}bags/{bag.pk}/{deed}/"
        assert as_outsider.post(path).status_code == 404
        assert as_viewer.post(path).status_code == 403
        assert as_crew.put(path).status_code == 405
        assert as_crew.post(f"{BOAT}bags/99999/{deed}/").status_code == 404
    assert as_crew.post(f"{BOAT}bags/{bag.pk}/photos/9/off/").status_code == 404
    assert as_crew.get(f"{BOAT}labels/{label.code}/bag/").status_code == 302
    assert as_crew.get(f"{BOAT}labels/ZZZZ/bag/").status_code == 404
    assert "Windlass motor" in text_of(as_viewer.get(f"{BOAT}lockers/{label.code}/"))
