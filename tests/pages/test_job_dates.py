"""A job's arrows, bookings, conditions and what was found while doing it: works, wrong person, bad form, twice, undo."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from refit.boat.formkeys import new_key
from refit.boat.models import Paper
from refit.work.actions import dates, plan_job
from refit.work.actions.dates import Coming
from refit.work.models import After, Booking, Job, JobPaper
from tests.factory import Factory
from tests.pages.undoing import text_of, undo
from tests.pictures import picture
from tests.refusing import rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
JOBS = "/test-boat/jobs/"
ONE_DAY = timedelta(days=1)


def book(make: Factory, job: Job, who: str = "Rigger", days: int = 1) -> Booking:
    return dates.book(job, Coming(make.today, who, days), today=make.today)


# Dates and conditions of a job


def planned(make: Factory, **facts) -> dict:
    return {
        "title": "Bed the windlass",
        "system": make.system.pk,
        "before": "launch",
        "days": "4 h",
        "priority": "1",
        "not_before": make.today.isoformat(),
        "space": "Saloon",
        "sole_use": "on",
        "dry": "on",
        "above_celsius": "-5",
        "cure_days": "2",
        "traits": ["resin", "hot"],
        **facts,
    }


def test_dates_and_conditions_are_typed_shown_and_undone(make, as_crew):
    job = make.job("Bed the windlass")
    page = as_crew.post(f"{JOBS}1/change/", planned(make), follow=True)
    said = text_of(page)
    assert "Takes 4 hours of work; comes first; not before" in said
    assert (
        "in Saloon, nobody else there meanwhile; needs dry weather; needs more than −5 °C; 2 days to cure"
        in said
    )
    assert "keep a fire watch" in said
    assert "Hot work beside resin that cures" in said
    form = as_crew.get(f"{JOBS}1/change/").content.decode()
    assert '<details class="fold" id="dates" open>' in form
    assert 'value="0.5"' in form
    undo(as_crew, page)
    job.refresh_from_db()
    assert (job.days, job.space, job.dry, job.cure_days, job.priority) == (None, None, False, 0, 2)
    assert not job.traits.exists()


def test_an_undo_brings_dates_and_conditions_back(make, as_crew):
    as_crew.post(f"{JOBS}new/", planned(make))
    job = Job.objects.get()
    before = rows()["work.Job"]
    page = as_crew.post(
        f"{JOBS}1/change/", {"title": "x", "system": make.system.pk, "before": "launch"}, follow=True
    )
    assert Job.objects.get().days is None
    undo(as_crew, page)
    assert rows()["work.Job"] == before
    assert {row.trait for row in job.traits.all()} == {"resin", "hot"}


def test_a_new_job_may_be_taken_off_again(make, as_crew):
    page = as_crew.post(f"{JOBS}new/", planned(make), follow=True)
    undo(as_crew, page)
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    "wrong",
    [
        {"days": "many"},
        {"days": "1001"},
        {"priority": "9"},
        {"not_before": "1900-01-01"},
        {"not_before": "2099-01-01"},
        {"space": "Nowhere"},
        {"space": ""},  # nobody else may work in no place
        {"above_celsius": "61"},
        {"above_celsius": "1.5"},
        {"cure_days": "366"},
        {"traits": ["magic"]},
    ],
)
def test_bad_dates_and_conditions_change_nothing(make, as_crew, wrong):
    make.job()
    before = rows()
    for address in (f"{JOBS}new/", f"{JOBS}1/change/"):
        response = as_crew.post(address, planned(make, **wrong))
        assert response.status_code == 422
        assert '<details class="fold" id="dates" open>' in response.content.decode()
    assert rows() == before


def test_the_list_says_how_long_and_who_comes_next_and_narrows_to_it(make, as_owner):
    long, short, none = make.job("Long"), make.job("Short"), make.job("None")
    plan_job(long, today=make.today, days=3, priority=1)
    plan_job(short, today=make.today, days=1)
    book(make, long)
    dates.book(long, Coming(make.today - 9 * ONE_DAY, "Hoist"), today=make.today)
    dates.cancel_booking(book(make, short, "Welder"))
    page = as_owner.get(JOBS, {"sort": "days"})
    assert [job.title for job, _ in page.context["rows"]] == ["Short", "Long", "None"]
    assert f"{make.today:%-d %b %Y}" in text_of(page)
    for asked, found in (
        ({"booked": "booked"}, [long]),
        ({"booked": "free"}, [short, none]),
        ({"priority": "1"}, [long]),
        ({"sort": "booked"}, [long, short, none]),
    ):
        assert [job for job, _ in as_owner.get(JOBS, asked).context["rows"]] == found


# Before and after


def test_a_job_is_put_after_another_and_out_again(make, as_crew):
    one, two = make.job("Draw the shaft"), make.job("Line up")
    page = as_crew.post(f"{JOBS}2/after/", {"way": "after", "job": "1 Draw the shaft"}, follow=True)
    assert "Job 2 comes after job 1." in text_of(page)
    assert After.objects.get().after == one
    page = undo(as_crew, page)
    assert not After.objects.exists()
    undo(as_crew, page)  # and the undo is undone
    assert After.objects.get().job == two
    assert "Before 2 Line up" in text_of(as_crew.get(f"{JOBS}1/"))


def test_a_job_is_put_before_another_by_its_title(make, as_crew):
    make.job("Draw the shaft")
    make.job("Line up")
    as_crew.post(f"{JOBS}1/after/", {"way": "before", "job": "line up"})
    arrow = After.objects.get()
    assert (arrow.job.number, arrow.after.number) == (2, 1)


def test_a_circle_is_refused_on_the_page(make, as_crew):
    one, two = make.job("Draw"), make.job("Line up")
    dates.come_after(two, one)
    before = rows()
    response = as_crew.post(f"{JOBS}1/after/", {"way": "after", "job": "2"})
    assert response.status_code == 422
    assert "1 Draw → 2 Line up → 1 Draw" in text_of(response)
    for wrong in ("1", "99", "no such", "", "9" * 30, "<script>"):
        assert as_crew.post(f"{JOBS}1/after/", {"way": "after", "job": wrong}).status_code == 422
    assert rows() == before


def test_another_boats_job_cannot_be_named(make, as_crew):
    make.job()
    other = Factory.start(name="Other", prefix="other-")
    for _ in range(3):
        other.job()
    assert as_crew.post(f"{JOBS}1/after/", {"job": "3"}).status_code == 422


def test_a_trade_sees_that_it_waits_but_not_for_what(make, as_trade):
    mine = make.job("Weld", given_to=make.member(make.trade))
    dates.come_after(mine, make.job("Secret plans"))
    book(make, mine, "Welder")
    said = text_of(as_trade.get(f"{JOBS}1/"))
    assert "After another job not done yet" in said
    assert "Welder" in said
    assert "Secret" not in said
    assert "hours" not in said.lower()


# Bookings


def test_a_booking_is_made_moved_cancelled_and_each_is_undone(make, as_crew):
    make.job()
    sent = {"who": "Rigger", "day": make.today.isoformat(), "days": "2", "note": "Brings the swage"}
    page = as_crew.post(f"{JOBS}1/booking/", sent, follow=True)
    booking = Booking.objects.get()
    assert (booking.days, booking.note) == (2, "Brings the swage")
    assert "Rigger Brings the swage" in text_of(page)
    later = (make.today + ONE_DAY).isoformat()
    page = as_crew.post(f"{JOBS}1/booking/{booking.pk}/", {**sent, "day": later, "days": ""}, follow=True)
    booking.refresh_from_db()
    assert (booking.day.isoformat(), booking.days) == (later, 1)
    undo(as_crew, page)
    booking.refresh_from_db()
    assert (booking.day, booking.days) == (make.today, 2)
    page = as_crew.post(f"{JOBS}1/booking/{booking.pk}/cancel/", follow=True)
    assert Booking.objects.get().cancelled_at
    undo(as_crew, page)
    assert Booking.objects.get().cancelled_at is None


def test_a_booking_by_mistake_is_taken_off(make, as_crew):
    make.job()
    page = as_crew.post(f"{JOBS}1/booking/", {"who": "Hoist", "day": make.today.isoformat()}, follow=True)
    undo(as_crew, page)
    assert not Booking.objects.exists()


def test_one_who_is_booked_elsewhere_has_to_be_meant_for_both(make, as_crew):
    make.job()
    book(make, make.job("Mast"))
    sent = {"who": "rigger", "day": make.today.isoformat(), "days": "1"}
    response = as_crew.post(f"{JOBS}1/booking/", sent)
    assert response.status_code == 422
    assert "for job 2, Mast" in text_of(response)
    assert 'name="both"' in response.content.decode()
    assert Booking.objects.count() == 1
    assert as_crew.post(f"{JOBS}1/booking/", {**sent, "both": "on"}).status_code == 302
    assert Booking.objects.count() == 2


@pytest.mark.parametrize(
    "wrong",
    [
        {"who": ""},
        {"who": "x" * 81},
        {"day": ""},
        {"day": "1949-12-31"},
        {"day": "2099-01-01"},
        {"day": "soon"},
        {"days": "0"},
        {"days": "366"},
        {"days": "1.5"},
        {"note": "x" * 201},
    ],
)
def test_a_bad_booking_changes_nothing(make, as_crew, wrong):
    booking = book(make, make.job())
    before = rows()
    sent = {"who": "Hoist", "day": make.today.isoformat(), "days": "1", **wrong}
    for address in (f"{JOBS}1/booking/", f"{JOBS}1/booking/{booking.pk}/"):
        response = as_crew.post(address, sent)
        assert response.status_code == 422
        assert "To put right" in text_of(response)
    assert rows() == before


# Found something


def photo(words: str = "rot") -> SimpleUploadedFile:
    return SimpleUploadedFile("rot.jpg", picture(words), content_type="image/jpeg")


def test_something_found_is_a_job_with_its_photo_and_goes_again(make, as_crew):
    make.job("New hatch", system=make.other_system)
    sent = {"title": "Rotten core", "photos": [photo(), photo("more")]}
    page = as_crew.post(f"{JOBS}1/found/", sent, follow=True)
    found = Job.objects.get(number=2)
    assert (found.title, found.system, found.found_during.number) == ("Rotten core", make.other_system, 1)
    assert "found during job 1" in text_of(page)
    assert JobPaper.objects.filter(job=found).count() == 2
    assert "2 Rotten core" in text_of(as_crew.get(f"{JOBS}1/"))
    undo(as_crew, page)
    assert Job.objects.count() == 1
    assert Paper.objects.filter(in_tray=True).count() == 2


def test_what_hangs_on_a_job_keeps_it(make, as_crew):
    make.job()
    as_crew.post(f"{JOBS}1/found/", {"title": "Rotten core"})
    book(make, Job.objects.get(number=2))
    page = as_crew.post(f"{JOBS}2/remove/", follow=True)
    assert "Something hangs on job 2" in text_of(page)
    assert Job.objects.count() == 2


@pytest.mark.parametrize("wrong", [{"title": ""}, {"title": "x" * 121}, {"photos": "text"}])
def test_a_bad_find_makes_nothing(make, as_crew, wrong):
    make.job()
    before = rows()
    if "photos" in wrong:
        wrong = {"photos": SimpleUploadedFile("x.jpg", b"no picture", content_type="image/jpeg")}
    response = as_crew.post(f"{JOBS}1/found/", {"title": "Rot", **wrong})
    assert response.status_code == 422
    assert rows() == before


# Twice, and who may


def test_the_same_form_twice_acts_once(make, as_crew):
    make.job()
    make.job()
    day = make.today.isoformat()
    for address, sent, model in (
        ("1/after/", {"job": "2"}, After),
        ("1/booking/", {"who": "Hoist", "day": day}, Booking),
        ("1/found/", {"title": "Rot"}, Job),
    ):
        before = model.objects.count()
        sent["form_key"] = new_key()
        first, second = (as_crew.post(JOBS + address, sent) for _ in range(2))
        assert first["Location"] == second["Location"]
        assert model.objects.count() == before + 1


@pytest.mark.parametrize(
    "rest",
    [
        "after/",
        "after/1/remove/",
        "booking/",
        "booking/1/",
        "booking/1/cancel/",
        "booking/1/uncancel/",
        "booking/1/remove/",
        "found/",
        "remove/",
    ],
)
def test_who_may_and_how(make, as_viewer, as_outsider, as_trade, as_owner, rest):
    make.job(given_to=make.member(make.trade))
    before = rows()
    for client, code in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.post(f"{JOBS}1/{rest}").status_code == code
    assert as_owner.get(f"{JOBS}1/{rest}").status_code == (200 if rest == "found/" else 405)
    for number in ("2", "0", "9" * 30):
        assert as_owner.post(f"{JOBS}{number}/{rest}").status_code == 404
    if "/1/" in rest:
        assert as_owner.post(f"{JOBS}1/{rest.replace('/1/', '/' + '9' * 30 + '/')}").status_code == 404
    assert rows() == before


def test_another_jobs_booking_and_arrow_are_not_found(make, as_owner):
    make.job()
    booking = book(make, make.job())
    arrow = dates.come_after(make.job(), Job.objects.get(number=2))
    assert as_owner.post(f"{JOBS}1/booking/{booking.pk}/cancel/").status_code == 404
    assert as_owner.post(f"{JOBS}1/after/{arrow.pk}/remove/").status_code == 404
    assert not Booking.objects.get().cancelled_at


def test_names_that_would_run_stay_words(make, as_owner):
    evil = "<script>alert(1)</script>"
    job = make.job(evil)
    dates.come_after(job, make.job(evil))
    book(make, job, evil)
    page = as_owner.get(f"{JOBS}1/").content.decode()
    assert "<script>alert" not in page
