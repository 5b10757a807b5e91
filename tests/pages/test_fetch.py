"""The fetch list: from the bow to the stern, what is kept for others left alone, one tap takes it; on paper."""

import re
import subprocess

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from refit.boat.actions import places
from refit.boat.formkeys import new_key
from refit.stores.actions import keeping, stow
from refit.stores.actions.parts import add_need
from refit.stores.models import Holding, Movement
from refit.work.actions import set_state
from tests.factory import D
from tests.pages.test_jobs import text_of, undo
from tests.tools import need

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
JOBS = "/test-boat/jobs/"
FETCH = "/test-boat/fetch/"


def want(make, job, part, quantity=1, **facts):
    return add_need(job, part=part, words="", quantity=D(quantity), **facts)


def ticks(page) -> list[str]:
    return re.findall(r'name="take" value="([^"]+)"', page.content.decode())


@pytest.fixture
def job(make):
    return make.job("Pump")


def test_places_come_from_the_bow_to_the_stern(make, as_crew, job):
    aft = places.add_place(make.boat, kind="area", parent=None, name="Aft cabin", from_bow=3)
    bow = places.add_place(make.boat, kind="area", parent=None, name="Forepeak", from_bow=1)
    for mark, area in (("A1", aft), ("F10", bow), ("F2", bow), ("S1", make.area), ("X1", make.ashore)):
        part = make.part()
        make.stock(part, make.place(mark, parent=area), 2)
        want(make, job, part)
    page = as_crew.get(f"{JOBS}1/fetch/").content.decode()
    assert re.findall(r'<span class="plate"><bdi>(\w+)</bdi>', page) == ["F2", "F10", "A1", "S1", "X1"]


def test_one_tap_takes_it_for_the_job_and_one_undo_brings_it_back(make, as_crew, job):
    part, place = make.part("Impeller"), make.place("S1")
    held = make.stock(part, place, 3)
    want(make, job, part, 2)
    page = as_crew.get(f"{JOBS}1/fetch/")
    sent = {"take": ticks(page)[0], "form_key": new_key()}
    done = as_crew.post(f"{FETCH}take/?job=1", sent, follow=True)
    assert "Took 2 Impeller from S1 for job 1." in text_of(done)
    assert "Nothing to fetch" in text_of(done)
    assert "Already recorded" in text_of(as_crew.post(f"{FETCH}take/?job=1", sent, follow=True))
    held.refresh_from_db()
    assert held.quantity == 1
    undo(as_crew, done)
    held.refresh_from_db()
    assert held.quantity == 3


def test_with_script_the_list_answers_in_place(make, as_crew, job):
    part = make.part("Impeller")
    make.stock(part, make.place("S1"), 3)
    want(make, job, part, 2)
    tick = ticks(as_crew.get(f"{JOBS}1/fetch/"))[0]
    page = as_crew.post(f"{FETCH}take/?job=1", {"take": tick}, headers={"HX-Request": "true"})
    assert "<html" not in page.content.decode()
    assert 'hx-swap-oob="true"' in page.content.decode()
    assert "Took 2 Impeller from S1 for job 1." in text_of(page)


def test_all_of_a_place_is_taken_at_once_for_several_jobs(make, as_crew, job):
    other, place = make.job("Heads"), make.place("S1")
    for one in (job, other):
        part = make.part()
        make.stock(part, place, 1)
        want(make, one, part)
    page = as_crew.get(f"{FETCH}?job=1&job=2")
    keys = ticks(page)[-2:]
    done = as_crew.post(f"{FETCH}take/?job=1&job=2", {"take": keys}, follow=True)
    assert "Took 2 things from S1 for 2 jobs." in text_of(done)
    assert set(Movement.objects.filter(reason="used").values_list("job__number", flat=True)) == {1, 2}
    undo(as_crew, done)
    assert Holding.objects.there().count() == 2


def test_a_piece_is_cut_and_a_short_one_left(make, as_crew, job):
    rope = make.part("Rope", unit="m", in_pieces=True, bits_under=D("0.5"))
    for mark, length in (("F1", 6), ("F2", 18), ("F3", 30)):
        make.stock(rope, make.place(mark), length)
    want(make, job, rope, 8, one_piece=True)
    page = as_crew.get(f"{JOBS}1/fetch/")
    assert "cut 8 m from piece 2" in text_of(page)
    done = as_crew.post(f"{FETCH}take/?job=1", {"take": ticks(page)[0]}, follow=True)
    assert "Took 8 m Rope from F2 for job 1." in text_of(done)
    assert Holding.objects.get(lot__number=2).quantity == 10
    want(make, job, rope, 40, one_piece=True)
    assert "no piece here is long enough" in text_of(as_crew.get(f"{JOBS}1/fetch/"))


def test_two_cuts_off_one_piece_leave_bits_only_at_the_end(make, as_crew, job):
    rope = make.part("Rope", unit="m", in_pieces=True, bits_under=D("0.5"))
    make.stock(rope, make.place("F1"), 18)
    want(make, job, rope, 8)
    want(make, make.job("Other"), rope, D("9.8"))
    page = as_crew.get(f"{FETCH}?job=1&job=2")
    as_crew.post(f"{FETCH}take/?job=1&job=2", {"take": ticks(page)[-2:]})
    assert not Holding.objects.there().exists()
    reasons = Movement.objects.exclude(reason="opening").order_by("id").values_list("reason", "quantity")
    assert list(reasons) == [("used", D(8)), ("used", D("9.8")), ("bits", D("0.2"))]


def test_what_is_kept_for_another_job_is_left_alone(make, as_crew, job):
    part = make.part("Impeller")
    held = make.stock(part, make.place("S1"), 3)
    keeping.keep(want(make, make.job("Other"), part, 2), D(2), today=make.today)
    want(make, job, part, 3)
    page = as_crew.get(f"{JOBS}1/fetch/")
    assert [key.split(":")[2] for key in ticks(page)] == ["1"]
    assert "Impeller lies nowhere here 2" in text_of(page)
    refused = as_crew.post(f"{FETCH}take/?job=1", {"take": f"{held.pk}:1:3"}, follow=True)
    assert "2 of these are kept for job 2." in text_of(refused)
    held.refresh_from_db()
    assert held.quantity == 3


def test_what_is_kept_by_level_or_in_words_is_looked_for(make, as_crew, job):
    grease = make.part("Grease", kept="level")
    stow.put_in(grease, make.place("S1"), D(0), by=make.owner, on=make.today, today=make.today)
    want(make, job, grease)
    add_need(job, part=None, words="a long drill", quantity=D(1))
    page = as_crew.get(f"{JOBS}1/fetch/")
    assert "Grease fine take what it needs" in text_of(page)
    assert "a long drill in words only: look for it" in text_of(page)
    assert ticks(page) == []


@pytest.mark.parametrize(
    "tick", ["", "x", "1:1", "1:1:1:1", "{0}:1:0", "{0}:1:-1", "{0}:1:x", "{0}:1:1e9", "{0}:9:1", "{0}:x:1", "99:1:1",
             "9" * 40 + ":1:1", "{0}:1:0.0001", "{0}:1:NaN", "{0}:1:5"]
)  # fmt: skip
def test_a_bad_tick_changes_nothing(make, as_crew, job, tick):
    part = make.part()
    held = make.stock(part, make.place(), 3)
    want(make, job, part)
    page = as_crew.post(f"{FETCH}take/?job=1", {"take": tick.format(held.pk)}, follow=True)
    assert "said-stop" in page.content.decode()
    held.refresh_from_db()
    assert held.quantity == 3


def test_who_gets_there(make, as_crew, as_viewer, as_trade, as_outsider, job):
    """A trade sees the lists of its own jobs, and takes nothing."""
    for path in (f"{JOBS}1/fetch/", f"{JOBS}1/fetch.pdf", FETCH, "/test-boat/fetch.pdf?job=1"):
        assert as_outsider.get(path).status_code == 404
        assert as_viewer.get(path).status_code == 200
        assert as_crew.post(path).status_code == 405
    assert as_trade.get(f"{JOBS}1/fetch/").status_code == 404
    assert "Pump" not in text_of(as_trade.get(f"{FETCH}?job=1"))
    assert as_viewer.post(f"{FETCH}take/").status_code == 403
    assert as_crew.get(f"{JOBS}99/fetch/").status_code == 404
    assert as_crew.get(f"{FETCH}?job=x&job={'9' * 30}").status_code == 200


def test_with_no_job_named_it_is_for_those_in_hand(make, as_crew, job):
    make.job("Heads")
    set_state(job, "in_hand", today=make.today)
    page = text_of(as_crew.get(FETCH))
    assert "1 Pump" in page
    assert "2 Heads" not in page


def test_the_list_on_paper_says_the_same(make, as_crew, job):
    rope = make.part("Rope", unit="m", in_pieces=True)
    make.stock(rope, make.place("F2"), 18)
    want(make, job, rope, 8)
    add_need(job, part=None, words="a long drill", quantity=D(1))
    answer = as_crew.get(f"{JOBS}1/fetch.pdf")
    assert answer["Content-Type"] == "application/pdf"
    reader = [need("pdftotext"), "-layout", "-", "-"]
    words = subprocess.run(reader, input=answer.content, capture_output=True, check=True).stdout.decode()
    for word in ("Fetch list, job 1", "F2", "Rope", "cut 8 m from piece 1", "a long drill"):
        assert word in " ".join(words.split())


def queries(client: Client) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(f"{FETCH}?job=1&job=2").status_code == 200
    return len(caught)


def test_the_list_takes_the_same_queries_with_2_and_40_things(make, as_crew, job):
    other = make.job()

    def more(many: int) -> None:
        for _ in range(many):
            part = make.part()
            make.stock(part, make.place(), 3)
            keeping.keep(want(make, job, part), D(1), today=make.today)
            want(make, other, part)

    more(1)
    as_crew.get(FETCH)
    first = queries(as_crew)
    more(19)
    assert queries(as_crew) == first
