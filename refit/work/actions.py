"""Every change of a job, one verb a function, each in one transaction."""

from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Max

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, Member, System
from refit.boat.refusals import Refused
from refit.work.models import TRANSITIONS, Before, Job, State


@transaction.atomic
def add_job(
    boat: Boat,
    *,
    title: str,
    system: System,
    by: Any,
    before: str = Before.LAUNCH,
    state: str = State.PLANNED,
    note: str = "",
    given_to: Member | None = None,
    found_on_the_way: bool = False,
    number: int | None = None,
) -> Job:
    """Put a job on the work list, with the next number; or with one given, which must be free."""
    lock(boat)
    if number is None:
        number = (Job.objects.filter(boat=boat).aggregate(newest=Max("number"))["newest"] or 0) + 1
    elif Job.objects.filter(boat=boat, number=number).exists():
        raise Refused(f"There is a job {number} already.", code="taken", field="number")
    return Job.objects.create(
        boat=boat,
        number=number,
        title=title,
        system=system,
        before=before,
        state=state,
        note=note,
        given_to=given_to,
        found_on_the_way=found_on_the_way,
        made_by=by,
    )


@transaction.atomic
def change_job(
    job: Job,
    *,
    title: str,
    system: System,
    before: str,
    note: str,
    given_to: Member | None,
    found_on_the_way: bool | None = None,
) -> Job:
    """Change what a job says. What was bought for it stays with the system of each line.

    Whether it was found on the way stays as it is where nothing is said of it.
    """
    lock(job.boat)
    fresh = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    fresh.title, fresh.system, fresh.before = title, system, before
    fresh.note, fresh.given_to = note, given_to
    if found_on_the_way is not None:
        fresh.found_on_the_way = found_on_the_way
    fresh.save()
    return fresh


@transaction.atomic
def set_state(job: Job, state: str, *, today: date) -> Job:
    """Set how far a job is, along the table of transitions."""
    lock(job.boat)
    fresh = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    if state == fresh.state:
        return fresh
    if state not in TRANSITIONS[fresh.state]:
        raise Refused(
            f"Job {fresh.number} is {fresh.get_state_display().lower()}; "
            f"it cannot become {State(state).label.lower()} from there.",
            code="transition",
            field="state",
        )
    fresh.state = state
    if state in (State.IN_HAND, State.DONE) and fresh.begun_on is None:
        fresh.begun_on = today
    elif state not in (State.IN_HAND, State.DONE):
        fresh.begun_on = None
    fresh.done_on = today if state == State.DONE else None
    fresh.save()
    return fresh
