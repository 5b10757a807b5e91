"""Every change of a job, one verb a function, each in one transaction."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, Location, Member, System
from refit.boat.refusals import Refused
from refit.calc.numbers import format_quantity
from refit.work.actions.days import our_day, usual_day
from refit.work.models import TRANSITIONS, Before, Job, JobTrait, Priority, State, Trait

MOST_DAYS, MOST_CURE, COLDEST, HOTTEST = 1000, 365, -30, 60
# What is the job's own and goes with it; all else that points at a job keeps it on the list.
ITS_OWN = (JobTrait,)


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
    found_during: Job | None = None,
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
        found_during=found_during,
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
def plan_job(
    job: Job,
    *,
    today: date,
    days: Decimal | None = None,
    priority: int = Priority.NORMAL,
    not_before: date | None = None,
    space: Location | None = None,
    sole_use: bool = False,
    dry: bool = False,
    above_celsius: int | None = None,
    cure_days: int = 0,
    traits: Iterable[str] = (),
) -> Job:
    """Say how long a job takes (days of work), when and where it can be done, and what it brings with it."""
    lock(job.boat)
    fresh = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    _check_plan(fresh, days, priority, space, sole_use, above_celsius, cure_days)
    if not_before is not None and not_before != fresh.not_before:
        usual_day(not_before, today, field="not_before")
        our_day(not_before, job.boat, field="not_before")
    fresh.days, fresh.priority, fresh.not_before = days, priority, not_before
    fresh.space, fresh.sole_use, fresh.dry = space, sole_use, dry
    fresh.above_celsius, fresh.cure_days = above_celsius, cure_days
    fresh.save()
    _set_traits(fresh, traits)
    return fresh


def _check_plan(
    job: Job,
    days: Decimal | None,
    priority: int,
    space: Location | None,
    sole_use: bool,
    above_celsius: int | None,
    cure_days: int,
) -> None:
    if days is not None and not 0 <= days <= MOST_DAYS:
        raise Refused(
            f"A job takes from 0 to {MOST_DAYS} days of work, not {format_quantity(days)}; split it.",
            code="days",
            field="days",
        )
    if priority not in Priority.values:
        raise Refused("Choose first, normal or can wait.", code="priority", field="priority")
    if space is not None and (space.boat_id != job.boat_id or space.retired_at):
        raise Refused("There is no such place in use on this boat.", code="no_place", field="space")
    if sole_use and space is None:
        raise Refused("Say which place nobody else can work in meanwhile.", code="no_space", field="space")
    if above_celsius is not None and not COLDEST <= above_celsius <= HOTTEST:
        raise Refused(
            f"Degrees Celsius go from {COLDEST} to {HOTTEST} here.", code="celsius", field="above_celsius"
        )
    if not 0 <= cure_days <= MOST_CURE:
        raise Refused(f"Curing takes from 0 to {MOST_CURE} days.", code="cure", field="cure_days")


def _set_traits(job: Job, traits: Iterable[str]) -> None:
    wanted = set(traits)
    if not wanted <= set(Trait.values):
        raise Refused("Choose what it brings with it from the list.", code="trait", field="traits")
    there = set(job.traits.values_list("trait", flat=True))  # type: ignore[attr-defined]
    JobTrait.objects.filter(job=job, trait__in=there - wanted).delete()
    added = [trait for trait in Trait.values if trait in wanted - there]
    JobTrait.objects.bulk_create(JobTrait(boat=job.boat, job=job, trait=trait) for trait in added)


@transaction.atomic
def found_job(job: Job, *, title: str, by: Any) -> Job:
    """Put on the list what was found while doing another job: of the same system, in the same space."""
    lock(job.boat)
    fresh = Job.objects.get(pk=job.pk)
    found = add_job(
        job.boat,
        title=title,
        system=fresh.system,
        by=by,
        before=fresh.before,
        found_on_the_way=True,
        found_during=fresh,
    )
    found.space = fresh.space
    found.save(update_fields=["space"])
    return found


@transaction.atomic
def remove_job(job: Job) -> None:
    """Take a job off the list again (undo of adding it); refused if anything hangs on it."""
    lock(job.boat)
    fresh = Job.objects.filter(pk=job.pk).first()
    if fresh is None:
        raise Refused(f"Job {job.number} is off the list already.", code="gone")
    for relation in Job._meta.related_objects:
        model = relation.related_model
        if model in ITS_OWN:
            continue
        if model._base_manager.filter(**{relation.field.name: fresh}).exists():  # type: ignore[union-attr]
            what = model._meta.verbose_name  # type: ignore[union-attr]
            raise Refused(
                f"Something hangs on job {fresh.number} already ({what}). "
                "Set it to later instead, or take that off first.",
                code="has_past",
            )
    fresh.delete()


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
