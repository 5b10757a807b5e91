"""The work list as tasks: what waits for what beyond the arrows that people draw."""

from datetime import date, timedelta
from itertools import pairwise

import pytest

from refit.boat.models import Location
from refit.calc.plan import plan
from refit.calc.schedule import Unworkable
from refit.work.models import After, Booking, DayAway, Job, Milestone, WorkTerms
from refit.work.planning import milestone_key, read_work, tasks_of
from tests.factory import D

pytestmark = pytest.mark.django_db


def tasks(make, parts=None):
    return {task.key: task for task in tasks_of(read_work(make.boat, make.today), parts)}


def milestone(make, kind="launch", **facts):
    return Milestone.objects.create(boat=make.boat, kind=kind, name=kind.capitalize(), **facts)


def after(make, job, *others):
    for other in others:
        After.objects.create(boat=make.boat, job=job, after=other)


def key(job: Job) -> str:
    return str(job.number)


def test_a_job_becomes_a_task_with_what_it_says(make):
    first, job = make.job(), make.job()
    day = make.today + timedelta(days=9)
    Job.objects.filter(pk=job.pk).update(
        days=D("2.25"), not_before=day, cure_days=3, priority=1, space=make.area, sole_use=True
    )
    after(make, job, first)
    Booking.objects.create(boat=make.boat, job=job, day=day, days=2, who="Rigger")
    Booking.objects.create(
        boat=make.boat, job=job, day=day, days=1, who="Gone", cancelled_at="2026-01-01T00:00Z"
    )
    task = tasks(make, {job.pk: (make.today, "Bearing")})[key(job)]
    assert (task.days, task.after, task.not_before, task.cure_days) == (3, (key(first),), day, 3)
    assert (task.priority, task.space) == (1, str(make.area.pk))
    assert [(visit.day, visit.days, visit.who) for visit in task.booked] == [(day, 2, "Rigger")]
    assert (task.parts_on, task.parts_words) == (make.today, "Bearing")


def test_a_job_without_days_counts_as_one_day(make):
    job = make.job()
    assert tasks(make)[key(job)].days == 1


@pytest.mark.parametrize(
    ("state", "before"), [("done", "launch"), ("later", "launch"), ("planned", "another")]
)
def test_what_is_not_to_be_done_now_is_not_planned_and_holds_nothing_up(make, state, before):
    gone, job = make.job(state=state, before=before), make.job()
    after(make, job, gone)
    found = tasks(make)
    assert list(found) == [key(job)]
    assert found[key(job)].after == ()


def test_what_a_done_job_still_has_to_cure_is_waited_for(make):
    paint, job = make.job(), make.job()
    after(make, job, paint)
    Job.objects.filter(pk=paint.pk).update(state="done", done_on=make.today, cure_days=4)
    assert tasks(make)[key(job)].not_before == make.today + timedelta(days=5)
    Job.objects.filter(pk=paint.pk).update(done_on=make.today - timedelta(days=9))
    assert tasks(make)[key(job)].not_before is None


def test_launch_waits_for_every_job_before_launch(make):
    early, late = make.job(), make.job(before="departure")
    launch = milestone(make)
    assert tasks(make)[milestone_key(launch)].after == (key(early),)
    assert key(late) in tasks(make)


def test_departure_waits_for_the_launch_too(make):
    early, late, afloat = make.job(), make.job(before="departure"), make.job(before="afloat")
    launch, departure = milestone(make), milestone(make, "departure")
    found = tasks(make)
    assert set(found[milestone_key(departure)].after) == {key(early), key(late), milestone_key(launch)}
    assert found[key(afloat)].after == (milestone_key(launch),)


def test_the_job_that_reaches_a_milestone_comes_after_all_that_it_waits_for(make):
    paint, lift, tidy = make.job(), make.job("Lift in"), make.job("Take the slings off")
    after(make, tidy, lift)
    launch = milestone(make, job=lift)
    found = tasks(make)
    assert found[key(lift)].after == (key(paint),)
    assert set(found[milestone_key(launch)].after) == {key(lift), key(tidy)}


def test_a_milestone_reached_is_waited_for_no_more(make):
    afloat = make.job(before="afloat")
    milestone(make, reached_on=make.today)
    assert tasks(make)[key(afloat)].after == ()


def test_jobs_of_one_space_take_turns_where_one_of_them_needs_it_alone(make):
    one, two, elsewhere = make.job(), make.job(), make.job()
    Job.objects.filter(pk__in=[one.pk, two.pk]).update(space=make.area)
    Job.objects.filter(pk=elsewhere.pk).update(space=make.ashore)
    assert {task.space for task in tasks(make).values()} == {None}
    Job.objects.filter(pk=one.pk).update(sole_use=True)
    found = tasks(make)
    assert found[key(one)].space == found[key(two)].space == str(make.area.pk)
    assert found[key(elsewhere)].space is None


def test_working_days_and_days_away_are_the_owners(make):
    WorkTerms.objects.create(boat=make.boat, weekdays="0000011")
    saturday = make.today + timedelta(days=(5 - make.today.weekday()) % 7 + 7)
    DayAway.objects.create(boat=make.boat, first=saturday, last=saturday)
    working = read_work(make.boat, make.today).working
    assert not working.works(saturday)
    assert working.works(saturday + timedelta(days=1))
    assert not working.works(saturday + timedelta(days=2))


def test_public_holidays_are_not_worked_where_a_country_is_named(make):
    WorkTerms.objects.create(boat=make.boat, weekdays="1111111", country="GB", region="ENG")
    working = read_work(make.boat, date(2026, 11, 26)).working
    assert not working.works(date(2026, 12, 25))  # Christmas Day
    assert working.works(date(2026, 12, 24))


def test_what_contradicts_itself_is_named(make):
    """A job afloat that a job before launch waits for: the launch would wait for itself."""
    afloat, job = make.job(before="afloat"), make.job()
    after(make, job, afloat)
    milestone(make)
    work = read_work(make.boat, make.today)
    with pytest.raises(Unworkable) as refusal:
        plan(tasks_of(work), work.working, make.today, {})
    assert key(job) in str(refusal.value)
    assert key(afloat) in str(refusal.value)
    alone = plan(tasks_of(work.without_milestones()), work.working, make.today, {})
    assert set(alone.placed) == {key(job), key(afloat)}


def test_it_is_read_in_a_constant_number_of_queries(make, django_assert_num_queries):
    def grow(count):
        jobs = [make.job() for _ in range(count)]
        for first, then in pairwise(jobs):
            after(make, then, first)
            Booking.objects.create(boat=make.boat, job=then, day=make.today, who="Rigger")
        make.boat.refresh_from_db()

    grow(3)
    milestone(make, target=make.today)
    with django_assert_num_queries(6):
        tasks_of(read_work(make.boat, make.today))
    grow(6)
    with django_assert_num_queries(6):
        tasks_of(read_work(make.boat, make.today))


def test_a_place_may_be_a_space(make):
    locker = make.place("E1")
    job = make.job()
    Job.objects.filter(pk=job.pk).update(space=Location.objects.get(pk=locker.pk), sole_use=True)
    assert tasks(make)[key(job)].space == str(locker.pk)
