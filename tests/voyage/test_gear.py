"""Fitted gear, and finishing a job whole: all of it or nothing, and one undo takes all of it back."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from refit.stores.actions.stow import take
from refit.stores.models import Holding
from refit.voyage import actions
from refit.voyage.actions import Fitted, Left, finish_job, undo_finish
from refit.voyage.models import Gear
from refit.work.actions.doing import Done
from refit.work.models import Finish, State
from tests.factory import D, Factory
from tests.refusing import refuse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
ONE_DAY = timedelta(days=1)


def pump(make: Factory, **facts) -> Fitted:
    return Fitted(name="Bilge pump", system=make.system, **facts)


def test_gear_is_fitted_changed_removed_and_fitted_again(make):
    gear = actions.fit(
        make.boat, pump(make, serial="A1", fitted_on=make.today), by=make.crew, today=make.today
    )
    assert (gear.serial, gear.entered_by) == ("A1", make.crew)
    actions.change_gear(gear, pump(make, serial="A2", quantity=2), today=make.today)
    gear.refresh_from_db()
    assert (gear.serial, gear.quantity, gear.fitted_on) == ("A2", 2, None)
    refuse("fitted", lambda: actions.is_fitted(gear))
    actions.take_out(gear, on=make.today, today=make.today)
    assert not Gear.objects.fitted().exists()
    refuse("removed", lambda: actions.take_out(gear, on=make.today, today=make.today))
    actions.is_fitted(gear)
    actions.remove_gear(gear)
    refuse("gone", lambda: actions.remove_gear(gear))


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"name": ""}, "empty"),
        ({"quantity": 0}, "quantity"),
        ({"quantity": 1001}, "quantity"),
        ({"fitted_on": date(2999, 1, 1)}, "future"),
        ({"fitted_on": date(1949, 1, 1)}, "too_early"),
        ({"warranty_until": date(1949, 1, 1)}, "too_early"),
        ({"warranty_until": date(2999, 1, 1)}, "too_late"),
        ({"fitted_on": date(2026, 1, 2), "warranty_until": date(2026, 1, 1)}, "warranty"),
    ],
)
def test_gear_that_cannot_be_is_refused(make, facts, code):
    fitted = replace(pump(make), **facts)
    refuse(code, lambda: actions.fit(make.boat, fitted, by=make.owner, today=make.today))


def test_gear_of_another_boats_system_part_or_place_is_refused(make):
    other = Factory.start(name="Other", prefix="other-")
    for facts in ({"system": other.system}, {"part": other.part()}, {"place": other.place()}):
        fitted = replace(pump(make), **facts)
        refuse("other_boat", lambda f=fitted: actions.fit(make.boat, f, by=make.owner, today=make.today))


def test_gear_cannot_go_before_it_came(make):
    gear = actions.fit(make.boat, pump(make, fitted_on=make.today), by=make.owner, today=make.today)
    refuse("before_fitted", lambda: actions.take_out(gear, on=make.today - ONE_DAY, today=make.today))


def taken(make: Factory):
    """Return a job, a part of which four were taken for it, and the place they came from."""
    job, part, place = make.job(), make.part("Clamp"), make.place("S3")
    held = make.stock(part, place, 4)
    take(held, D(4), by=make.owner, on=make.today, today=make.today, job=job)
    return job, part, place


def test_a_job_is_finished_whole_and_one_undo_takes_it_back(make):
    job, part, place = taken(make)
    made = finish_job(
        job,
        Done(method="By the book"),
        [pump(make, part=part, quantity=3)],
        [Left(part, D(1), place)],
        on=make.today,
        by=make.owner,
        today=make.today,
    )
    job.refresh_from_db()
    assert (job.state, made.finish.method) == (State.DONE, "By the book")
    assert (made.gear[0].job, made.gear[0].quantity) == (job, 3)
    assert Holding.objects.get(part=part, place=place).quantity == 1
    undo_finish(job, State.IN_HAND, made.gear, made.entries, by=make.owner, today=make.today)
    job.refresh_from_db()
    assert job.state == State.IN_HAND
    assert not Gear.objects.exists()
    assert not Finish.objects.exists()
    assert Holding.objects.get(part=part, place=place).quantity == 0


def test_one_wrong_row_and_nothing_is_written(make):
    job, part, place = taken(make)
    rows = {"on": make.today, "by": make.owner, "today": make.today}
    refuse("empty", lambda: finish_job(job, Done(), [replace(pump(make), name="")], [], **rows))
    refuse("nothing", lambda: finish_job(job, Done(), [pump(make)], [Left(part, D(0), place)], **rows))


def test_what_was_put_back_and_taken_since_is_not_undone(make):
    job, part, place = taken(make)
    who = {"by": make.owner, "today": make.today}
    made = finish_job(job, Done(), [], [Left(part, D(1), place)], on=make.today, **who)
    take(Holding.objects.get(part=part, place=place), D(1), on=make.today, **who)
    refuse("taken_since", lambda: undo_finish(job, State.IN_HAND, made.gear, made.entries, **who))
