"""What comes after what, bookings, milestones, working days and days away: done, undone, refused with nothing changed."""

from datetime import date, timedelta
from functools import partial

import pytest

from refit.boat.actions import boats
from refit.work.actions import add_job, dates, doing, plan_job
from refit.work.actions.dates import Coming
from refit.work.models import After, Booking, DayAway, Job, Milestone, WorkTerms
from tests.factory import D, Factory
from tests.refusing import refuse

pytestmark = pytest.mark.django_db
ONE_DAY = timedelta(days=1)


# Planning a job


def test_a_job_is_planned_and_planned_again(make):
    job, space = make.job(), make.place("S3")
    facts = {
        "days": D("1.5"),
        "priority": 1,
        "not_before": make.today,
        "space": space,
        "sole_use": True,
        "dry": True,
        "above_celsius": 8,
        "cure_days": 3,
        "traits": ["resin", "dust"],
    }
    job = plan_job(job, today=make.today, **facts)
    assert (job.days, job.priority, job.not_before, job.space) == (D("1.5"), 1, make.today, space)
    assert (job.sole_use, job.dry, job.above_celsius, job.cure_days) == (True, True, 8, 3)
    assert [row.trait for row in job.traits.all()] == ["resin", "dust"]
    kept = job.traits.get(trait="dust").pk
    job = plan_job(job, today=make.today, traits=["dust", "noise"])
    assert (job.days, job.space, job.sole_use, job.cure_days) == (None, None, False, 0)
    assert {row.trait for row in job.traits.all()} == {"dust", "noise"}
    assert job.traits.get(trait="dust").pk == kept


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"days": D("1000.001")}, "days"),
        ({"days": D("-0.5")}, "days"),
        ({"priority": 4}, "priority"),
        ({"sole_use": True}, "no_space"),
        ({"above_celsius": 61}, "celsius"),
        ({"above_celsius": -31}, "celsius"),
        ({"cure_days": 366}, "cure"),
        ({"cure_days": -1}, "cure"),
        ({"traits": ["magic"]}, "trait"),
        ({"not_before": date(1949, 12, 31)}, "too_early"),
        ({"not_before": date(2199, 1, 1)}, "too_late"),
    ],
)
def test_what_cannot_be_planned_is_refused(make, facts, code):
    job = make.job()
    refuse(code, lambda: plan_job(job, today=make.today, **facts))


def test_a_space_of_another_boat_or_out_of_use_is_refused(make):
    job, other = make.job(), Factory.start(name="Other", prefix="other-")
    refuse("no_place", lambda: plan_job(job, today=make.today, space=other.place("S1")))


# After


def test_a_circle_is_refused_with_its_jobs_in_order(make):
    draw, mount, line = (make.job(title) for title in ("Draw", "Mount", "Line up"))
    dates.come_after(mount, draw)
    dates.come_after(line, mount)
    refused = refuse("cycle", lambda: dates.come_after(draw, line))
    assert "1 Draw → 2 Mount → 3 Line up → 1 Draw" in refused.sentence
    dates.come_after(line, draw)  # a second way forward is no circle
    assert After.objects.count() == 3


def test_a_job_after_itself_twice_or_of_another_boat_is_refused(make):
    one, two = make.job(), make.job()
    dates.come_after(two, one)
    refuse("itself", lambda: dates.come_after(one, one))
    refuse("there", lambda: dates.come_after(two, one))
    refuse("cycle", lambda: dates.come_after(one, two))
    theirs = Factory.start(name="Other", prefix="other-").job()
    refuse("no_job", lambda: dates.come_after(one, theirs))


def test_a_step_is_taken_out_once(make):
    arrow = dates.come_after(make.job(), make.job())
    dates.not_after(arrow)
    refuse("gone", lambda: dates.not_after(arrow))


# Bookings


@pytest.mark.parametrize(
    ("start", "days", "free"),
    [(-1, 1, True), (-1, 2, False), (0, 1, False), (1, 1, False), (2, 1, True), (-5, 30, False)],
)
def test_the_same_person_on_two_jobs_the_same_day_has_to_be_meant(make, start, days, free):
    """Booked from today for two days; another job from so many days on, for so many days."""
    dates.book(make.job(), Coming(make.today, "Rigger", 2), today=make.today)
    coming = Coming(make.today + start * ONE_DAY, " rigger ".strip(), days)
    deed = lambda **more: dates.book(make.job(), coming, today=make.today, **more)  # noqa: E731
    job = make.job()
    if free:
        assert dates.book(job, coming, today=make.today).days == days
    else:
        refused = refuse("booked_twice", lambda: dates.book(job, coming, today=make.today))
        assert "job 1" in refused.sentence
        assert deed(for_both=True).pk


def test_a_cancelled_booking_is_in_nobodys_way_and_comes_back(make):
    first = dates.book(make.job(), Coming(make.today, "Hoist"), today=make.today)
    dates.cancel_booking(first)
    refuse("cancelled", lambda: dates.cancel_booking(first))
    refuse("cancelled", lambda: dates.change_booking(first, Coming(make.today, "Hoist"), today=make.today))
    dates.book(make.job(), Coming(make.today, "Hoist"), today=make.today)
    assert dates.uncancel_booking(first).cancelled_at is None
    refuse("stands", lambda: dates.uncancel_booking(first))


def test_a_booking_is_moved_and_is_not_in_its_own_way(make):
    booking = dates.book(make.job(), Coming(make.today, "Hoist", 3), today=make.today)
    moved = dates.change_booking(booking, Coming(make.today + ONE_DAY, "Hoist", 3, "8:00"), today=make.today)
    assert (moved.day, moved.note) == (make.today + ONE_DAY, "8:00")
    dates.remove_booking(moved)
    assert not Booking.objects.exists()


@pytest.mark.parametrize(
    ("coming", "code"),
    [
        (Coming(date(1949, 1, 1), "Hoist"), "too_early"),
        (Coming(date(2199, 1, 1), "Hoist"), "too_late"),
        (Coming(date(2026, 1, 1), ""), "empty"),
        (Coming(date(2026, 1, 1), "Hoist", 0), "days"),
        (Coming(date(2026, 1, 1), "Hoist", 366), "days"),
    ],
)
def test_a_booking_that_cannot_be_is_refused(make, coming, code):
    job = make.job()
    refuse(code, lambda: dates.book(job, coming, today=make.today))


# Milestones


def test_a_milestone_is_set_changed_reached_and_undone(make):
    job = make.job()
    launch = dates.add_milestone(make.boat, kind="launch", today=make.today, target=make.today)
    assert launch.name == "Launch"
    launch = dates.change_milestone(launch, name="In she goes", target=None, job=job, today=make.today)
    assert (launch.name, launch.target, launch.job) == ("In she goes", None, job)
    refuse("not_reached", lambda: dates.unreach_milestone(launch))
    refuse("future", lambda: dates.reach_milestone(launch, on=make.today + ONE_DAY, today=make.today))
    dates.reach_milestone(launch, on=make.today, today=make.today)
    refuse("reached", lambda: dates.reach_milestone(launch, on=make.today, today=make.today))
    refuse("reached", lambda: dates.remove_milestone(launch))
    dates.unreach_milestone(launch)
    dates.remove_milestone(launch)
    assert not Milestone.objects.exists()


def test_there_is_one_launch_and_as_many_others_as_one_likes(make):
    dates.add_milestone(make.boat, kind="launch", today=make.today)
    refuse("taken", lambda: dates.add_milestone(make.boat, kind="launch", today=make.today))
    for name in ("Engine runs", "Mast up"):
        dates.add_milestone(make.boat, kind="other", name=name, today=make.today)
    refuse("empty", lambda: dates.add_milestone(make.boat, kind="other", today=make.today))
    refuse("kind", lambda: dates.add_milestone(make.boat, kind="party", today=make.today))
    theirs = Factory.start(name="Other", prefix="other-").job()
    refuse("no_job", lambda: dates.add_milestone(make.boat, kind="survey", job=theirs, today=make.today))


# Working days


def test_terms_are_as_usual_until_set_and_keep_what_is_not_named(make):
    assert dates.terms_of(make.boat).weekdays == "1111110"
    assert not WorkTerms.objects.exists()
    dates.set_terms(make.boat, weekdays="1111100", margin_days=5, hour_rate=2500, country="GB")
    terms = dates.set_terms(make.boat, weekdays="0000011", margin_days=0)
    assert (terms.weekdays, terms.margin_days, terms.hour_rate, terms.country) == ("0000011", 0, 2500, "GB")
    assert WorkTerms.objects.count() == 1


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"weekdays": "0000000"}, "weekdays"),
        ({"weekdays": "111111"}, "weekdays"),
        ({"weekdays": "1111112"}, "weekdays"),
        ({"margin_days": 366}, "margin"),
        ({"margin_days": -1}, "margin"),
        ({"hour_rate": -1}, "amount"),
        ({"hour_rate": 10**12}, "amount"),
    ],
)
def test_terms_that_cannot_be_are_refused(make, facts, code):
    refuse(code, lambda: dates.set_terms(make.boat, **{"weekdays": "1111110", "margin_days": 3, **facts}))


def test_days_away_are_set_and_taken_off(make):
    away = dates.add_days_away(make.boat, make.today, None, today=make.today, why="Wedding")
    assert (away.first, away.last) == (make.today, make.today)
    dates.remove_days_away(away)
    refuse("gone", lambda: dates.remove_days_away(away))
    before = make.today - ONE_DAY
    refuse("order", lambda: dates.add_days_away(make.boat, make.today, before, today=make.today))
    long_ago = date(1900, 1, 1)
    refuse("too_early", lambda: dates.add_days_away(make.boat, long_ago, None, today=make.today))
    assert not DayAway.objects.exists()


def test_a_job_is_added_by_the_same_name_as_before(make):
    """The commonest verbs stay where callers know them."""
    assert add_job(make.boat, title="x", system=make.system, by=make.owner).number == 1


# Before the boat was bought


def test_no_work_is_written_down_for_a_day_before_the_boat_was_bought(make):
    job = make.job()
    boats.change_boat(make.boat, bought_on=make.today - 10 * ONE_DAY)
    job = Job.objects.get(pk=job.pk)
    early, first = make.today - 11 * ONE_DAY, make.today - 10 * ONE_DAY
    launch = dates.add_milestone(job.boat, kind="launch", name="Launch", today=make.today)
    done = doing.Done()
    by, today = make.owner, make.today
    deeds = [
        lambda day: dates.book(job, Coming(day, "Rigger"), today=today),
        lambda day: dates.reach_milestone(launch, on=day, today=today),
        lambda day: plan_job(job, today=today, not_before=day),
        lambda day: doing.set_hours(job.boat, day, [doing.Worked(job, 60, who=by)], by=by, today=today),
        lambda day: doing.finish(job, done, on=day, by=by, today=today),
    ]
    for deed in deeds:
        refuse("before_bought", partial(deed, early))
        deed(first)
    assert job.bookings.get().day == first
