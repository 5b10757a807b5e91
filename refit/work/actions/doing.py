"""Every change of doing a job: hours of a day, how it was done, which photo shows it before or after."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, Paper
from refit.boat.refusals import Refused
from refit.calc.text import fold
from refit.calc.worktime import hours_and_minutes
from refit.work.actions.days import our_day, past_day
from refit.work.actions.jobs import set_state
from refit.work.models import DoneBy, Finish, Hours, Job, JobPaper, Moment, State

A_DAY = 24 * 60


@dataclass(frozen=True)
class Worked:
    """So many minutes of one person on a job: of a user, or of a helper by name. Nil takes them off."""

    job: Job
    minutes: int
    who: Any = None
    helper: str = ""


@transaction.atomic
def set_hours(boat: Boat, day: date, rows: Iterable[Worked], *, by: Any, today: date) -> list[Hours]:
    """Write down who worked how long on which job on a day, as it is said now; return what stands of these rows.

    Nobody works more than 24 hours in a day, over all jobs: else nothing at all is written.
    """
    lock(boat)
    past_day(day, today, "day")
    our_day(day, boat, "day")
    there: dict[Any, Hours] = {}
    helpers: dict[str, str] = {}  # by folded name: as it was first written
    for row in Hours.objects.select_for_update(no_key=True, of=("self",)).filter(boat=boat, day=day):
        there[(row.job_id, row.who_id, row.helper)] = row
        helpers.setdefault(fold(row.helper), row.helper)
    kept = []
    for one in rows:
        _check_worked(boat, one)
        helper = helpers.setdefault(fold(one.helper), one.helper)
        key = (one.job.pk, one.who.pk if one.who else None, helper)
        made = _write(there.get(key), one, helper, day, by)
        if made:
            kept.append(made)
            there[key] = made
        else:
            there.pop(key, None)
    _check_sums(there.values())
    return kept


def _check_worked(boat: Boat, one: Worked) -> None:
    if one.job.boat_id != boat.pk:
        raise Refused("There is no such job on this boat.", code="no_job")
    if bool(one.helper) == bool(one.who):
        raise Refused("Whose hours are they?", code="nobody")
    if not 0 <= one.minutes <= A_DAY:
        raise Refused("A day has 24 hours.", code="more_than_a_day")


def _write(row: Hours | None, one: Worked, helper: str, day: date, by: Any) -> Hours | None:
    if not one.minutes:
        if row:
            row.delete()
        return None
    if row is None:
        return Hours.objects.create(
            boat=one.job.boat, job=one.job, who=one.who, helper=helper, day=day, minutes=one.minutes, by=by
        )
    if row.minutes != one.minutes:
        row.minutes, row.by = one.minutes, by
        row.save(update_fields=["minutes", "by"])
    return row


def _check_sums(rows: Iterable[Hours]) -> None:
    sums: dict[Any, int] = {}
    for row in rows:
        key = (row.who_id, row.helper)
        sums[key] = sums.get(key, 0) + row.minutes
        if sums[key] > A_DAY:
            raise Refused(
                f"That makes more than 24 hours of {person_of(row)} on {row.day:%-d %b %Y}: "
                f"{hours_and_minutes(sums[key])} at least. Look at what was typed.",
                code="more_than_a_day",
            )


def person_of(row: Hours) -> str:
    """Return whose hours they are, as they are called."""
    return (row.who.first_name or row.who.get_username()) if row.who else row.helper


@dataclass(frozen=True)
class Done:
    """How a job was done: by whom, how, with what, and how it was tested."""

    done_by: str = DoneBy.OWNER
    name: str = ""
    certificate: str = ""
    method: str = ""
    materials: str = ""
    test_result: str = ""
    instrument: str = ""


@transaction.atomic
def finish(job: Job, done: Done, *, on: date, by: Any, today: date) -> Finish:
    """Say how a job was done and when; it is done then. Said again, it is what was said last."""
    lock(job.boat)
    past_day(on, today, "done_on")
    our_day(on, job.boat, "done_on")
    if done.done_by not in DoneBy.values:
        raise Refused("Choose who did it.", code="done_by", field="done_by")
    if done.done_by == DoneBy.FIRM and not done.name:
        raise Refused("Which firm was it? Its name belongs to the record.", code="empty", field="name")
    fresh = Job.objects.get(pk=job.pk)
    if fresh.state != State.DONE:
        if fresh.state == State.LATER:
            set_state(fresh, State.IN_HAND, today=on)  # what was put off and done all the same was in hand
        set_state(fresh, State.DONE, today=on)
    fresh.refresh_from_db()
    fresh.done_on = on
    if fresh.begun_on and fresh.begun_on > on:
        fresh.begun_on = on
    fresh.save(update_fields=["done_on", "begun_on"])
    facts = {name: getattr(done, name) for name in done.__dataclass_fields__}
    made, _ = Finish.objects.update_or_create(
        job=fresh, defaults=facts, create_defaults={**facts, "boat": fresh.boat, "entered_by": by}
    )
    return made


@transaction.atomic
def unfinish(job: Job, state: str, *, today: date, done_on: date | None = None) -> None:
    """Take back how a job was done (undo): it is as far as it was before, done on the day it was done before."""
    lock(job.boat)
    fresh = Job.objects.get(pk=job.pk)
    gone, _ = Finish.objects.filter(job=fresh).delete()
    if not gone:
        raise Refused(f"How job {fresh.number} was done was taken back already.", code="gone")
    if state == State.DONE:
        fresh.done_on = done_on or fresh.done_on
        fresh.save(update_fields=["done_on"])
        return
    reopen(fresh, state, today=today)


@transaction.atomic
def reopen(job: Job, state: str, *, today: date) -> None:
    """Say that a job that is done is as far as it was before (undo); how it was done stays on record."""
    lock(job.boat)
    set_state(job, State.IN_HAND, today=today)
    if state != State.IN_HAND:
        set_state(job, state, today=today)


@transaction.atomic
def say_moment(job: Job, paper: Paper, moment: str) -> None:
    """Say that a photo shows a job before or after; empty: neither."""
    lock(job.boat)
    if moment not in Moment.values:
        raise Refused("Before or after?", code="moment", field="moment")
    if not JobPaper.objects.filter(job=job, paper=paper).update(moment=moment):
        raise Refused(f"{paper} is not on job {job.number} any more.", code="not_there")
