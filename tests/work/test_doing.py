"""Hours of a day, what was found on the way, how a job was done: written, undone, refused with nothing changed."""

from datetime import date, timedelta

import pytest

from refit.stores.actions.parts import add_need
from refit.work.actions import dates, doing, found_job, remove_job, set_state
from refit.work.actions.doing import Done, Worked, set_hours
from refit.work.models import Finish, Hours, Job, State
from refit.work.reading import hours_table, spells
from tests.factory import D, Factory
from tests.refusing import refuse

pytestmark = pytest.mark.django_db
YESTERDAY = timedelta(days=1)


def say(make: Factory, *rows: Worked, day: date | None = None) -> list[Hours]:
    return set_hours(make.boat, day or make.today, rows, by=make.owner, today=make.today)


# Hours


def test_hours_are_written_changed_and_taken_off(make):
    job = make.job()
    say(make, Worked(job, 90, make.owner), Worked(job, 30, None, "Neighbour"))
    say(make, Worked(job, 120, make.owner))
    assert sorted(Hours.objects.values_list("minutes", flat=True)) == [30, 120]
    say(make, Worked(job, 0, make.owner), Worked(job, 0, None, "neighbour"))
    assert not Hours.objects.exists()


def test_a_helper_is_the_same_however_typed(make):
    job = make.job()
    say(make, Worked(job, 30, None, "Neighbour"))
    say(make, Worked(job, 60, None, "NEIGHBOUR"))
    assert list(Hours.objects.values_list("helper", "minutes")) == [("Neighbour", 60)]


def test_a_day_has_24_hours_over_all_jobs(make):
    one, two = make.job(), make.job()
    say(make, Worked(one, 12 * 60, make.owner))
    refused = refuse("more_than_a_day", lambda: say(make, Worked(two, 12 * 60 + 1, make.owner)))
    assert "24:01" in refused.sentence
    assert "Owner" in refused.sentence
    say(make, Worked(two, 12 * 60, make.owner))
    refuse("more_than_a_day", lambda: say(make, Worked(make.job(), 1, make.owner)))
    say(make, Worked(one, 0, make.owner), Worked(two, 24 * 60, make.owner))  # together it is a day
    say(make, Worked(one, 24 * 60, make.crew))
    say(make, Worked(one, 24 * 60, make.owner), day=make.today - YESTERDAY)


@pytest.mark.parametrize(
    ("day", "code"),
    [(date(2999, 1, 1), "future"), (date(1949, 1, 1), "too_early")],
)
def test_hours_of_a_day_that_cannot_be_are_refused(make, day, code):
    job = make.job()
    refuse(code, lambda: say(make, Worked(job, 60, make.owner), day=day))


def test_hours_of_nobody_of_two_or_on_another_boats_job_are_refused(make):
    job, theirs = make.job(), Factory.start(name="Other", prefix="other-").job()
    refuse("nobody", lambda: say(make, Worked(job, 60)))
    refuse("nobody", lambda: say(make, Worked(job, 60, make.owner, "Neighbour")))
    refuse("no_job", lambda: say(make, Worked(theirs, 60, make.owner)))
    refuse("more_than_a_day", lambda: say(make, Worked(job, 1441, make.owner)))
    # One wrong row and none is written.
    refuse("nobody", lambda: say(make, Worked(job, 60, make.owner), Worked(job, 60)))


def test_hours_add_up_alike_by_job_and_by_person(make):
    jobs = [make.job() for _ in range(3)]
    for at, job in enumerate(jobs):
        say(make, Worked(job, 60 * (at + 1), make.owner), Worked(job, 30, None, "Neighbour"))
    table = hours_table(make.boat)
    assert table.people == ["Neighbour", "Owner"]
    assert table.totals == [90, 360]
    assert sum(row.total for row in table.rows) == table.total == 450
    assert [(row.name, row.minutes) for row in spells(Hours.objects.filter(job=jobs[1]))] == [
        ("Neighbour", 30),
        ("Owner", 120),
    ]


def test_two_people_of_one_name_are_told_apart(make):
    job = make.job()
    for user in (make.owner, make.crew):
        user.first_name = "Sam"
        user.save()
        say(make, Worked(job, 60, user))
    assert hours_table(make.boat).people == ["Sam (crew)", "Sam (owner)"]


# Found on the way


def test_what_was_found_is_a_job_of_the_same_system_and_space(make):
    job = make.job(system=make.other_system, before="afloat")
    job.space = make.place("S3")
    job.save()
    found = found_job(job, title="Rotten frame", by=make.crew)
    assert (found.number, found.system, found.before, found.space) == (
        2,
        make.other_system,
        "afloat",
        job.space,
    )
    assert (found.found_during, found.found_on_the_way, found.made_by) == (job, True, make.crew)
    remove_job(found)
    refuse("gone", lambda: remove_job(found))
    assert list(Job.objects.all()) == [job]


def test_a_job_that_something_hangs_on_stays(make):
    wanting, worked, waited, led = (make.job() for _ in range(4))
    add_need(wanting, part=None, words="a bolt", quantity=D(1))
    say(make, Worked(worked, 60, make.owner))
    dates.come_after(make.job(), waited)
    found_job(led, title="More", by=make.owner)
    for job in (wanting, worked, waited, led):
        refuse("has_past", lambda job=job: remove_job(job))


# Done


@pytest.mark.parametrize("state", [State.PLANNED, State.READY, State.IN_HAND, State.LATER, State.WAITING])
def test_how_a_job_was_done_is_said_and_taken_back(make, state):
    job, on = make.job(), make.today - YESTERDAY
    if state != State.PLANNED:
        set_state(job, state, today=make.today)
    done = Done("firm", "Rigging Ltd", "C-17", "Swaged", "316 wire", "load 4 t", "cell no. 3")
    made = doing.finish(job, done, on=on, by=make.crew, today=make.today)
    job.refresh_from_db()
    assert (job.state, job.done_on, job.begun_on) == (State.DONE, on, on)
    assert (made.name, made.certificate, made.instrument, made.entered_by) == (
        "Rigging Ltd",
        "C-17",
        "cell no. 3",
        make.crew,
    )
    doing.unfinish(job, state, today=make.today)
    job.refresh_from_db()
    assert (job.state, job.done_on) == (state, None)
    refuse("gone", lambda: doing.unfinish(job, state, today=make.today))


def test_said_again_it_is_what_was_said_last(make):
    job = make.job()
    first = doing.finish(job, Done(method="Glued"), on=make.today, by=make.owner, today=make.today)
    again = doing.finish(job, Done(method="Bolted"), on=make.today, by=make.crew, today=make.today)
    assert Finish.objects.get() == first == again
    assert (again.method, again.entered_by) == ("Bolted", make.owner)


def test_a_job_pressed_done_before_goes_back_to_its_day(make):
    job, long_ago = make.job(), date(2026, 1, 5)
    set_state(job, State.DONE, today=long_ago)
    doing.finish(job, Done(), on=date(2026, 1, 4), by=make.owner, today=make.today)
    doing.unfinish(job, State.DONE, today=make.today, done_on=long_ago)
    job.refresh_from_db()
    assert (job.state, job.done_on) == (State.DONE, long_ago)


@pytest.mark.parametrize(
    ("done", "on", "code"),
    [
        (Done(), date(2999, 1, 1), "future"),
        (Done(), date(1949, 1, 1), "too_early"),
        (Done("firm"), date(2026, 1, 1), "empty"),
        (Done("ghost"), date(2026, 1, 1), "done_by"),
    ],
)
def test_what_cannot_have_been_done_is_refused(make, done, on, code):
    job = make.job()
    refuse(code, lambda: doing.finish(job, done, on=on, by=make.owner, today=make.today))
