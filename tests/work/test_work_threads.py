"""Several people at once on the work list: no circle, no double booking, no day of more than 24 hours, one undo."""

import pytest

from refit.boat.refusals import Refused
from refit.work.actions import dates, doing, found_job, remove_job
from refit.work.actions.dates import Coming
from refit.work.actions.doing import Done, Worked, set_hours
from refit.work.models import After, Booking, Finish, Hours, Milestone, WorkTerms
from tests.at_once import at_once
from tests.factory import Factory

pytestmark = [pytest.mark.threads, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def make() -> Factory:
    return Factory.start()


def codes(outcomes: list[object]) -> list[str]:
    """Return what happened: `done`, or the code of a refusal; anything else is a fault of ours."""
    found = []
    for outcome in outcomes:
        if isinstance(outcome, Refused):
            found.append(outcome.code or "")
        elif isinstance(outcome, BaseException):
            raise outcome
        else:
            found.append("done")
    return sorted(found)


def test_two_arrows_that_make_a_circle_together(make):
    one, two = make.job(), make.job()
    deeds = [lambda: dates.come_after(one, two), lambda: dates.come_after(two, one)]
    assert codes(at_once(deeds)) == ["cycle", "done"]
    assert After.objects.count() == 1


def test_one_person_is_booked_for_one_job(make):
    jobs = [make.job() for _ in range(4)]
    deeds = [lambda job=job: dates.book(job, Coming(make.today, "Hoist"), today=make.today) for job in jobs]
    assert codes(at_once(deeds)) == ["booked_twice"] * 3 + ["done"]
    assert Booking.objects.count() == 1


def test_hours_of_one_day_never_pass_24(make):
    jobs = [make.job() for _ in range(4)]
    deeds = [
        lambda job=job: set_hours(
            make.boat, make.today, [Worked(job, 11 * 60, make.owner)], by=make.crew, today=make.today
        )
        for job in jobs
    ]
    assert codes(at_once(deeds)) == ["done", "done", "more_than_a_day", "more_than_a_day"]
    assert sum(Hours.objects.values_list("minutes", flat=True)) == 22 * 60


def test_the_same_hours_twice_are_one_row(make):
    job = make.job()
    deed = lambda: set_hours(  # noqa: E731
        make.boat, make.today, [Worked(job, 60, make.owner)], by=make.crew, today=make.today
    )
    assert codes(at_once([deed] * 4)) == ["done"] * 4
    assert Hours.objects.get().minutes == 60


def test_one_finish_one_launch_one_set_of_terms(make):
    job = make.job()
    deed = lambda: doing.finish(job, Done(), on=make.today, by=make.owner, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * 3)) == ["done"] * 3
    assert Finish.objects.count() == 1
    launch = lambda: dates.add_milestone(make.boat, kind="launch", today=make.today)  # noqa: E731
    assert codes(at_once([launch] * 3)) == ["done", "taken", "taken"]
    assert Milestone.objects.count() == 1
    terms = lambda: dates.set_terms(make.boat, weekdays="1111100", margin_days=2)  # noqa: E731
    assert codes(at_once([terms] * 3)) == ["done"] * 3
    assert WorkTerms.objects.count() == 1


def test_found_jobs_get_numbers_of_their_own_and_go_once(make):
    job = make.job()
    found = at_once([lambda: found_job(job, title="Rot", by=make.crew)] * 3)
    assert sorted(one.number for one in found) == [2, 3, 4]
    assert codes(at_once([lambda: remove_job(found[0])] * 3)) == ["done", "gone", "gone"]
