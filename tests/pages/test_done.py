"""How a job was done: said with photos, gear and what is left; put right; one undo takes all of it back."""

from datetime import timedelta
from urllib.parse import urlencode

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from refit.boat.formkeys import new_key
from refit.stores.actions.stow import take
from refit.stores.models import Holding
from refit.voyage.models import Gear
from refit.work.actions import set_state
from refit.work.models import Finish, Job, JobPaper, State
from tests.factory import D, Factory
from tests.pages.undoing import text_of, undo
from tests.pictures import picture
from tests.refusing import rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
JOBS = "/test-boat/jobs/"
DONE = f"{JOBS}1/done/"


def typed(make: Factory, **facts) -> dict:
    return {
        "done_on": make.today.isoformat(),
        "done_by": "owner",
        "name": "",
        "certificate": "",
        "method": "By the book",
        "materials": "Epoxy, batch 7",
        "test_result": "0.3 Ω",
        "instrument": "Meter no. 2",
        **facts,
    }


def photo(words: str) -> SimpleUploadedFile:
    return SimpleUploadedFile(f"{words}.jpg", picture(words), content_type="image/jpeg")


def taken(make: Factory, serial: str = "") -> tuple[Job, str, Holding]:
    """Return a job in hand that took 4 of a part, the prefix of that part's fields, and what is held."""
    job, part, place = (
        make.job("Fit the pump"),
        make.part("Pump", numbers=[("maker", "P-1", "Maker")]),
        make.place("S3"),
    )
    held = make.stock(part, place, 5, serial=serial)
    set_state(job, State.IN_HAND, today=make.today)
    take(held, D(4), by=make.owner, on=make.today, today=make.today, job=job)
    return job, f"t{part.pk}-{held.lot_id or 0}", held


def test_how_it_was_done_stands_on_the_jobs_page_and_is_undone(make, as_crew):
    job = make.job()
    set_state(job, State.READY, today=make.today)
    sent = typed(make, done_by="firm", name="Rigging Ltd", certificate="C-17")
    page = as_crew.post(
        DONE, {**sent, "before": photo("old"), "after": [photo("new"), photo("newer")]}, follow=True
    )
    said = text_of(page)
    for words in (
        "By Rigging Ltd",
        "Certificate C-17",
        "How By the book",
        "Materials Epoxy",
        "Test 0.3 Ω",
        "by Crew",
    ):
        assert words in said
    assert sorted(JobPaper.objects.values_list("moment", flat=True)) == ["after", "after", "before"]
    job.refresh_from_db()
    assert (job.state, job.done_on) == (State.DONE, make.today)
    undo(as_crew, page)
    job.refresh_from_db()
    assert (job.state, job.done_on) == (State.READY, None)
    assert not Finish.objects.exists()


def test_what_was_taken_becomes_gear_and_what_is_left_goes_back(make, as_crew):
    job, row, held = taken(make)
    page = as_crew.get(DONE).content.decode()
    assert "4 taken" in text_of(as_crew.get(DONE)).replace("  ", " ")
    assert f'name="{row}-model" value="P-1"' in page
    sent = typed(make) | {
        f"{row}-fitted": "on",
        f"{row}-name": "Pump",
        f"{row}-pieces": "3",
        f"{row}-serial": "A1",
        f"{row}-where": "under the sink",
        f"{row}-warranty_until": (make.today + timedelta(days=365)).isoformat(),
        f"{row}-left": "1",
        f"{row}-to": "S3",
        "more-name": "Alarm",
        "more-pieces": "",
    }
    page = as_crew.post(DONE, sent, follow=True)
    pump, alarm = Gear.objects.order_by("id")
    assert (pump.part, pump.quantity, pump.serial, pump.job, pump.fitted_on) == (
        held.part,
        3,
        "A1",
        job,
        make.today,
    )
    assert (alarm.name, alarm.part, alarm.quantity) == ("Alarm", None, 1)
    held.refresh_from_db()
    assert held.quantity == 2
    assert "2 things on the list of gear. Put back: Pump." in text_of(page)
    undo(as_crew, page)
    held.refresh_from_db()
    job.refresh_from_db()
    assert (held.quantity, job.state, Gear.objects.count()) == (1, State.IN_HAND, 0)


def test_a_batch_goes_back_as_itself(make, as_crew):
    _, row, held = taken(make, serial="B7")
    as_crew.post(DONE, typed(make) | {f"{row}-left": "2", f"{row}-to": "S3"})
    held.refresh_from_db()
    assert (held.quantity, Holding.objects.count()) == (3, 1)


def test_put_right_it_says_the_new_and_undone_the_old(make, as_crew):
    job, row, _ = taken(make)
    as_crew.post(DONE, typed(make))
    yesterday = (make.today - timedelta(days=1)).isoformat()
    sent = typed(make, method="Bolted", done_on=yesterday) | {f"{row}-fitted": "on", f"{row}-name": "Pump"}
    page = as_crew.post(DONE, sent, follow=True)
    assert (Finish.objects.get().method, Gear.objects.count()) == ("Bolted", 1)
    assert Job.objects.get().done_on.isoformat() == yesterday
    undo(as_crew, page)
    job.refresh_from_db()
    assert (Finish.objects.get().method, Gear.objects.count()) == ("By the book", 0)
    assert (job.state, job.done_on) == (State.DONE, make.today)


def test_the_old_press_of_done_offers_to_say_how(make, as_crew):
    make.job()
    page = as_crew.post(f"{JOBS}1/state/", {"state": "done"}, follow=True).content.decode()
    assert f'<a class="button next" href="{DONE}">Say how it was done</a>' in page
    as_crew.post(DONE, typed(make))
    assert "Say how it was done" not in as_crew.get(f"{JOBS}1/").content.decode()


def test_a_job_given_to_a_trade_begins_with_their_name(make, as_crew):
    make.job(given_to=make.member(make.trade))
    form = as_crew.get(DONE).context["form"]
    assert (form["done_by"].value(), form["name"].value()) == ("firm", "Trade")


@pytest.mark.parametrize(
    "wrong",
    [
        {"done_on": ""},
        {"done_on": "2999-01-01"},
        {"done_on": "1900-01-01"},
        {"done_by": "ghost"},
        {"done_by": "firm"},  # which?
        {"name": "x" * 81},
        {"method": "x" * 2001},
        {"before": SimpleUploadedFile("x.jpg", b"no picture", content_type="image/jpeg")},
        {"ROW-fitted": "on", "ROW-name": ""},
        {"ROW-fitted": "on", "ROW-name": "Pump", "ROW-pieces": "0"},
        {"ROW-fitted": "on", "ROW-name": "Pump", "ROW-warranty_until": "2020-01-01"},
        {"ROW-fitted": "on", "ROW-name": "Pump", "ROW-place": "Nowhere"},
        {"ROW-left": "5", "ROW-to": "S3"},  # only four were taken
        {"ROW-left": "1", "ROW-to": ""},
        {"ROW-left": "1", "ROW-to": "Nowhere"},
        {"more-name": "x" * 121},
    ],
)
def test_what_cannot_be_changes_nothing(make, as_crew, wrong):
    _, row, _ = taken(make)
    before = rows()
    sent = typed(make) | {name.replace("ROW", row): value for name, value in wrong.items()}
    response = as_crew.post(DONE, sent)
    assert response.status_code == 422
    assert "To put right" in text_of(response)
    assert rows() == before


def test_the_same_form_twice_acts_once(make, as_crew):
    _, row, held = taken(make)
    sent = typed(make, form_key=new_key()) | {f"{row}-left": "1", f"{row}-to": "S3"}
    first, second = (as_crew.post(DONE, sent) for _ in range(2))
    assert first["Location"] == second["Location"]
    held.refresh_from_db()
    assert held.quantity == 2


def test_an_undo_names_nothing_of_other_jobs_or_boats(make, as_owner):
    """Whatever stands in the address of an undo, it takes back only gear of this very job."""
    make.job()
    other = Factory.start(name="Other", prefix="other-")
    theirs = Gear.objects.create(boat=other.boat, name="Theirs", system=other.system, entered_by=other.owner)
    ours = Gear.objects.create(boat=make.boat, name="Ours", system=make.system, entered_by=make.owner)
    as_owner.post(DONE, typed(make))
    as_owner.post(
        f"{DONE}undo/?state=nonsense&gear={theirs.pk}&gear={ours.pk}&gear={'9' * 30}&entry=x&done_on=x"
    )
    assert Gear.objects.count() == 2
    assert Job.objects.get(number=1, boat=make.boat).state == State.IN_HAND


def test_a_job_that_was_taken_up_again_is_in_hand_after_the_undo(make, as_owner):
    job = make.job()
    as_owner.post(DONE, typed(make))
    set_state(job, State.IN_HAND, today=make.today)
    undo(as_owner, as_owner.post(DONE, typed(make, test_result="anew"), follow=True))
    job.refresh_from_db()
    assert (job.state, job.done_on, Finish.objects.get().test_result) == (
        State.IN_HAND,
        None,
        typed(make)["test_result"],
    )


def test_a_day_that_can_only_be_made_up_is_not_kept(make, as_owner):
    job = make.job()
    as_owner.post(f"{JOBS}1/state/?to=in_hand&on=0001-01-01")
    job.refresh_from_db()
    assert job.begun_on == make.today
    as_owner.post(DONE, typed(make))
    as_owner.post(f"{DONE}undo/?state=done&done_on=0001-01-01")
    job.refresh_from_db()
    assert job.done_on == make.today


def test_an_undo_that_was_made_up_says_nothing_longer_than_the_form_takes(make, as_owner):
    make.job()
    as_owner.post(DONE, typed(make))
    before = Finish.objects.get().test_result
    for wrong in ({"test_result": "x" * 201}, {"name": "x\x00"}, {"done_on": "0001-01-01"}):
        told = urlencode({"again": "1", "done_by": "owner", "done_on": make.today, **wrong})
        answer = as_owner.post(f"{DONE}undo/?{told}", follow=True)
        assert "can no longer be put back" in answer.content.decode()
    assert Finish.objects.get().test_result == before


def test_who_may_and_how(make, as_viewer, as_outsider, as_trade, as_owner):
    make.job(given_to=make.member(make.trade))
    before = rows()
    for client, code in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.get(DONE).status_code == code
        assert client.post(DONE, typed(make)).status_code == code
        assert client.post(f"{DONE}undo/").status_code == code
    assert as_owner.get(f"{DONE}undo/").status_code == 405
    for number in ("2", "0", "9" * 30):
        assert as_owner.get(f"{JOBS}{number}/done/").status_code == 404
        assert as_owner.post(f"{JOBS}{number}/done/undo/").status_code == 404
    assert rows() == before


def test_a_trade_reads_how_its_job_was_done(make, as_owner, as_trade):
    make.job(given_to=make.member(make.trade))
    as_owner.post(DONE, typed(make, name="Trade"))
    said = text_of(as_trade.get(f"{JOBS}1/"))
    assert "Materials Epoxy, batch 7" in said
    assert "Put it right" not in said


def test_names_that_would_run_stay_words(make, as_owner):
    make.job()
    evil = "<script>alert(1)</script>"
    page = as_owner.post(DONE, typed(make, method=evil, name=evil) | {"more-name": evil}, follow=True)
    assert "<script>alert" not in page.content.decode()
