"""What a job wants, on its page: more than what and how many, kept, replaced, copied, from a list, with companions."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from refit.boat.formkeys import new_key
from refit.stores.actions import keeping, needs
from refit.stores.actions.parts import add_need
from refit.stores.models import Companion, KitList, KitListLine, Need
from tests.factory import D
from tests.pages.test_jobs import LIST, text_of, undo

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
KITS = "/test-boat/kits/"


@pytest.fixture
def part(make):
    return make.part("Impeller")


@pytest.fixture
def need(make, part) -> Need:
    return add_need(make.job("Pump"), part=part, words="", quantity=D(2))


def at(need: Need, deed: str) -> str:
    return f"{LIST}{need.job.number}/need/{need.pk}/{deed}/"


def change(client: Client, need: Need, **sent):
    given = {"words": "Impeller", "part": str(need.part_id), "quantity": "3", **sent}
    return client.post(at(need, "change"), given, follow=True)


def test_a_need_is_put_on_with_its_day_and_what_it_must_fit(make, as_crew):
    job = make.job()
    make.part("Rope", unit="m", in_pieces=True)
    day = make.today + timedelta(days=9)
    sent = {
        "words": "Rope",
        "quantity": "18",
        "wanted_by": day.isoformat(),
        "one_piece": "on",
        "must_fit": "12 mm clutch",
    }
    page = text_of(as_crew.post(f"{LIST}{job.number}/need/", sent, follow=True))
    found = Need.objects.get()
    assert (found.wanted_by, found.one_piece, found.must_fit) == (day, True, "12 mm clutch")
    assert "in one piece" in page
    assert "must fit 12 mm clutch" in page


def test_what_is_fitted_in_sets_is_rounded_up_and_said(make, as_crew):
    job = make.job()
    make.part("Injector bolt", sets_of=4)
    page = as_crew.post(f"{LIST}{job.number}/need/", {"words": "Injector bolt", "quantity": "6"}, follow=True)
    assert "Fitted in sets of 4: 6 becomes 8." in text_of(page)
    assert Need.objects.get().quantity == 8


def test_one_piece_of_what_is_in_none_is_refused(make, as_crew, part):
    job = make.job()
    page = as_crew.post(
        f"{LIST}{job.number}/need/", {"words": "Impeller", "quantity": "1", "one_piece": "on"}
    )
    assert page.status_code == 422
    assert "Impeller is not kept in pieces." in text_of(page)
    assert not Need.objects.exists()


def test_a_need_is_changed_and_changed_back(make, as_crew, need):
    assert 'value="2"' in as_crew.get(at(need, "change")).content.decode()
    page = change(as_crew, need, wanted_by=make.today.isoformat(), must_fit="57 mm")
    assert "Job 1 wants 3 Impeller." in text_of(page)
    undo(as_crew, page)
    need.refresh_from_db()
    assert (need.quantity, need.wanted_by, need.must_fit) == (2, None, "")


@pytest.mark.parametrize(
    "wrong", [{"quantity": "0"}, {"quantity": ""}, {"quantity": "x"}, {"wanted_by": "soon"}, {"wanted_by": "0001-01-01"},
              {"one_piece": "on"}, {"words": "", "part": ""}, {"part": "9" * 30}, {"must_fit": "x" * 200}]
)  # fmt: skip
def test_a_bad_change_changes_nothing(as_crew, need, wrong):
    assert change(as_crew, need, **wrong).status_code == 422
    need.refresh_from_db()
    assert need.quantity == 2


def test_free_words_become_a_part(make, as_crew, part):
    need = add_need(make.job(), part=None, words="an impeller", quantity=D(1))
    page = as_crew.post(at(need, "change"), {"words": "Impeller", "quantity": "1"}, follow=True)
    need.refresh_from_db()
    assert (need.part, need.words) == (part, "")
    undo(as_crew, page)
    need.refresh_from_db()
    assert (need.part, need.words) == (None, "an impeller")


DEEDS = ("change", "keep", "newer", "with")


@pytest.mark.parametrize("deed", DEEDS)
def test_who_gets_to_a_need(as_outsider, as_viewer, as_crew, need, deed):
    assert as_outsider.post(at(need, deed)).status_code == 404
    assert as_viewer.post(at(need, deed)).status_code == 403
    assert as_crew.put(at(need, deed)).status_code == 405
    assert as_crew.post(f"{LIST}1/need/{need.pk + 1}/{deed}/").status_code == 404
    assert as_crew.post(f"{LIST}7/need/{need.pk}/{deed}/").status_code == 404


def test_what_lies_free_is_kept_and_let_go(make, as_crew, need, part):
    make.stock(part, make.place(), 1)
    key = new_key()
    page = as_crew.post(at(need, "keep"), {"quantity": "1", "form_key": key}, follow=True)
    assert "1 Impeller kept for job 1." in text_of(page)
    assert "Already recorded" in text_of(
        as_crew.post(at(need, "keep"), {"quantity": "1", "form_key": key}, follow=True)
    )
    undo(as_crew, page)
    need.refresh_from_db()
    assert need.reserved == 0


@pytest.mark.parametrize("wrong", ["2", "-1", "", "x"])
def test_what_cannot_be_kept_changes_nothing(make, as_crew, need, part, wrong):
    make.stock(part, make.place(), 1)
    page = as_crew.post(at(need, "keep"), {"quantity": wrong}, follow=True)
    assert "said-stop" in page.content.decode()
    need.refresh_from_db()
    assert need.reserved == 0


def test_whoever_takes_it_is_warned_and_may_take_it_all_the_same(make, as_crew, need, part):
    place = make.place("S1")
    held = make.stock(part, place, 2)
    keeping.keep(need, D(2), today=make.today)
    assert "2 kept for job 1" in text_of(as_crew.get(f"/test-boat/lockers/{place.code}/"))
    assert "2 kept for job 1" in text_of(as_crew.get(f"/test-boat/parts/{part.pk}/"))
    take = f"/test-boat/lockers/{place.code}/take/{held.pk}/"
    page = as_crew.post(take, {"quantity": "2", "job": "used"})
    assert page.status_code == 422
    assert "2 of these are kept for job 1." in text_of(page)
    assert 'name="agreed"' in page.content.decode()
    correct = take.replace("take", "correct")
    assert as_crew.post(correct, {"quantity": "2", "there": "2", "job": "used"}).status_code == 422
    as_crew.post(take, {"quantity": "2", "job": "used", "agreed": "on"})
    held.refresh_from_db()
    assert held.quantity == 0


def test_a_part_that_was_replaced_is_offered_in_one_press(make, as_crew, need, part):
    newer = make.part("Impeller, new pattern")
    part.superseded_by = make.part("Impeller, middle pattern", superseded_by=newer)
    part.save()
    page = as_crew.get(f"{LIST}1/")
    assert "Replaced by Impeller, new pattern" in text_of(page)
    page = as_crew.post(at(need, "newer"), follow=True)
    assert Need.objects.get().part == newer
    undo(as_crew, page)
    assert Need.objects.get().part == part


def test_what_goes_with_a_part_is_offered_when_it_is_wanted(make, as_crew, part):
    job, clip = make.job(), make.part("Hose clip")
    needs.add_companion(part, other=clip, words="", quantity=D(2), is_tool=False)
    needs.add_companion(part, other=None, words="10 mm reamer", quantity=D(1), is_tool=True)
    page = as_crew.post(f"{LIST}{job.number}/need/", {"words": "Impeller", "quantity": "2"}, follow=True)
    assert "It also needs: 4 Hose clip , tool: 10 mm reamer ." in text_of(page)
    page = as_crew.post(at(Need.objects.get(), "with"), follow=True)
    assert {str(need): need.quantity for need in Need.objects.all()} == {
        "Impeller": 2, "Hose clip": 4, "10 mm reamer": 1,
    }  # fmt: skip
    again = as_crew.post(at(Need.objects.get(part=part), "with"), follow=True)
    assert "wants all that goes with Impeller already" in text_of(again)
    undo(as_crew, page)
    assert Need.objects.count() == 1


def test_another_jobs_wants_are_copied_and_taken_back(make, as_crew, need):
    other = make.job()
    page = as_crew.post(f"{LIST}{other.number}/needs/copy/", {"job": "1"}, follow=True)
    assert Need.objects.filter(job=other).count() == 1
    undo(as_crew, page)
    assert Need.objects.filter(job=other).count() == 0
    for wrong in ("", "77", "x", str(other.number)):
        page = as_crew.post(f"{LIST}{other.number}/needs/copy/", {"job": wrong}, follow=True)
        assert "said-stop" in page.content.decode()
    assert Need.objects.count() == 1
    assert as_crew.post(f"{LIST}1/needs/999999/remove/").status_code == 404


def test_a_list_is_kept_used_changed_and_thrown_away(make, as_crew, need):
    page = as_crew.post(f"{LIST}1/needs/as-list/", {"name": "Engine service"}, follow=True)
    kit = KitList.objects.get()
    assert "The list Engine service is kept." in text_of(page)
    page = as_crew.post(f"{KITS}{kit.pk}/add/", {"words": "rags", "quantity": "3"}, follow=True)
    assert KitListLine.objects.count() == 2
    undo(as_crew, page)
    line = KitListLine.objects.get()
    page = as_crew.post(f"{KITS}{kit.pk}/line/{line.pk}/remove/", follow=True)
    assert KitListLine.objects.count() == 0
    undo(as_crew, page)
    other = make.job()
    page = as_crew.post(f"{LIST}{other.number}/needs/list/", {"kit": kit.pk}, follow=True)
    assert Need.objects.get(job=other).quantity == 2
    undo(as_crew, page)
    page = as_crew.post(f"{KITS}{kit.pk}/delete/", follow=True)
    assert not KitList.objects.exists()
    undo(as_crew, page)
    assert [(str(line), line.quantity) for line in KitListLine.objects.all()] == [("Impeller", 2)]


@pytest.mark.parametrize("sent", [{"name": ""}, {"name": "x" * 81}, {"name": "There"}])
def test_a_list_without_a_name_of_its_own_is_refused(make, as_crew, as_viewer, as_outsider, sent):
    KitList.objects.create(boat=make.boat, name="There")
    assert as_crew.post(KITS, sent).status_code == 422
    assert KitList.objects.count() == 1
    assert as_viewer.get(KITS).status_code == 403
    assert as_outsider.get(KITS).status_code == 404
    assert as_crew.get(f"{KITS}999/").status_code == 404
    assert (
        as_crew.post(f"{KITS}{KitList.objects.get().pk}/add/", {"words": "", "quantity": "1"}).status_code
        == 422
    )
    assert (
        as_crew.post(f"{KITS}again/?name=x&line=a:b:c&line=1:-1:x&line=:2:rope", follow=True).status_code
        == 200
    )
    assert [str(line) for line in KitListLine.objects.all()] == ["rope"]


def test_what_goes_with_a_part_is_said_on_its_page(make, as_crew, part):
    make.part("Hose clip")
    page = f"/test-boat/parts/{part.pk}/"
    answer = as_crew.post(f"{page}with/", {"words": "Hose clip", "quantity": "2"}, follow=True)
    row = Companion.objects.get()
    undo(as_crew, answer)
    assert not Companion.objects.exists()
    as_crew.post(f"{page}with/", {"words": "10 mm reamer", "quantity": "1", "is_tool": "on"})
    row = Companion.objects.get()
    assert "10 mm reamer tool" in text_of(as_crew.get(page))
    answer = as_crew.post(f"{page}with/{row.pk}/remove/", follow=True)
    undo(as_crew, answer)
    assert Companion.objects.get().is_tool
    for wrong in (
        {"words": "", "quantity": "1"},
        {"words": "x", "quantity": "0"},
        {"words": "10 mm reamer", "quantity": "1"},
    ):
        assert as_crew.post(f"{page}with/", wrong).status_code == 422
    assert Companion.objects.count() == 1


def test_a_spare_without_its_companion_says_so(make, as_crew):
    spare, clip = make.part("Hose", is_spare=True, minimum=D(1)), make.part("Clip")
    needs.add_companion(spare, other=clip, words="", quantity=D(2), is_tool=False)
    make.stock(spare, make.place(), 1)
    assert "goes with it, and none aboard Clip" in text_of(as_crew.get("/test-boat/spares/"))
    assert "none aboard" in text_of(as_crew.get(f"/test-boat/parts/{spare.pk}/"))
    make.stock(clip, make.place(), 1)
    assert "none aboard" not in text_of(as_crew.get("/test-boat/spares/"))


def test_the_jobs_page_takes_the_same_queries_with_2_and_22_wants_that_have_all(make, as_crew):
    """Kept, replaced and with companions: each is read for all wants at once."""
    job = make.job()

    def more(many: int) -> None:
        for _ in range(many):
            part = make.part(superseded_by=make.part())
            make.stock(part, make.place(), 2)
            needs.add_companion(part, other=make.part(), words="", quantity=D(1), is_tool=False)
            keeping.keep(add_need(job, part=part, words="", quantity=D(2)), D(1), today=make.today)

    more(2)
    as_crew.get(f"{LIST}1/")
    first = queries(as_crew)
    more(20)
    assert queries(as_crew) == first


def queries(client: Client) -> int:
    """Return how many queries the page of job 1 takes."""
    with CaptureQueriesContext(connection) as caught:
        assert client.get(f"{LIST}1/").status_code == 200
    return len([query for query in caught if not re.search(r"SAVEPOINT|formkey", query["sql"])])


def test_words_too_long_to_go_with_a_part_are_refused(make, as_crew):
    page = f"/test-boat/parts/{make.part().pk}/with/"
    assert as_crew.post(page, {"words": "x" * 121, "quantity": "1", "as_words": "1"}).status_code == 422
    assert as_crew.post(page, {"words": "x" * 120, "quantity": "1", "as_words": "1"}).status_code == 302


def test_what_no_keyboard_types_finds_what_stands_around_it(make, as_crew):
    make.part("Impeller")
    assert "Impeller" in as_crew.get("/test-boat/parts/near/?words=impel%00ler").content.decode()
