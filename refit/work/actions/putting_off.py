"""Jobs put off in one go: left for later, for another year, or moved past the launch; and put back as they were."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.work.actions.jobs import set_state
from refit.work.models import OPEN_STATES, Before, Job, State

PUTS = (State.LATER, Before.ANOTHER_YEAR, Before.DEPARTURE, Before.AFLOAT)


@dataclass(frozen=True)
class Was:
    """How a job stood: by primary key its state, what it was to be done before, and since when it was in hand.

    `put` is where it was put off to: an undo finds it there, or leaves it alone.
    """

    job: int
    state: str
    before: str
    begun_on: date | None = None
    put: str = ""


@transaction.atomic
def put_off(boat: Boat, put: Mapping[int, str], *, today: date) -> list[Was]:
    """Put open jobs off, by primary key: `later`, or before what they are to be done; return how they stood."""
    lock(boat)
    if not set(put.values()) <= set(PUTS):
        raise Refused("A job is put off to later, another year, before departure or afloat.", code="where")
    found = Job.objects.select_for_update(no_key=True).filter(boat=boat, pk__in=list(put)).order_by("pk")
    was = []
    for job in found:
        if job.state not in OPEN_STATES:
            raise Refused(f"Job {job.number} is {job.get_state_display().lower()} by now.", code="not_open")
        was.append(Was(job.pk, job.state, job.before, job.begun_on, put[job.pk]))
        if put[job.pk] == State.LATER:
            set_state(job, State.LATER, today=today)
        else:
            job.before = put[job.pk]
            job.save(update_fields=["before"])
    if len(was) != len(put):
        raise Refused("One of these jobs is no longer on the list.", code="gone")
    return was


@transaction.atomic
def put_back(boat: Boat, was: Iterable[Was]) -> list[Job]:
    """Put jobs back as they stood (undo); refused where one has been taken up since."""
    lock(boat)
    stood = {row.job: row for row in was}
    jobs = list(
        Job.objects.select_for_update(no_key=True).filter(boat=boat, pk__in=list(stood)).order_by("pk")
    )
    if len(jobs) != len(stood):
        raise Refused("One of these jobs is no longer on the list.", code="gone")
    for job in jobs:
        before = stood[job.pk]
        if not _stands(job, before):
            by_now = f"is {job.get_state_display().lower()} by now"
            what = by_now if job.state not in (before.state, State.LATER) else "was changed since"
            raise Refused(f"Job {job.number} {what}; set it on its own page.", code="taken_up")
        job.state, job.before, job.begun_on = before.state, before.before, before.begun_on
        job.save(update_fields=["state", "before", "begun_on"])
    return jobs


def _stands(job: Job, was: Was) -> bool:
    """Return whether a job stands where it was put off to."""
    if was.put == State.LATER:
        return (job.state, job.before) == (State.LATER, was.before)
    return (job.state, job.before) == (was.state, was.put)
