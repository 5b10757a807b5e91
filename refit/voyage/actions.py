"""Every change of fitted gear, and finishing a job whole: how it was done, what was fitted, what went back."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat, Location, System
from refit.boat.refusals import Refused
from refit.stores.actions.ledger import undo
from refit.stores.actions.stow import put_in
from refit.stores.models import Entry, Lot, Part
from refit.voyage.models import Gear
from refit.work.actions.days import past_day, usual_day
from refit.work.actions.doing import Done, finish, unfinish
from refit.work.models import Finish, Job

MOST_YEARS_OF_WARRANTY = 100
MOST_PIECES = 1000


@dataclass(frozen=True)
class Fitted:
    """A thing that is installed: what it is, where, and until when its maker answers for it."""

    name: str
    system: System
    part: Part | None = None
    quantity: int = 1
    maker: str = ""
    model: str = ""
    serial: str = ""
    place: Location | None = None
    where: str = ""
    fitted_on: date | None = None
    warranty_until: date | None = None
    note: str = ""


@transaction.atomic
def fit(boat: Boat, fitted: Fitted, *, by: Any, today: date, job: Job | None = None) -> Gear:
    """Write down that a thing is fitted on the boat."""
    lock(boat)
    _check(boat, fitted, today)
    return Gear.objects.create(boat=boat, job=job, entered_by=by, **_facts(fitted))


@transaction.atomic
def change_gear(gear: Gear, fitted: Fitted, *, today: date) -> Gear:
    """Say otherwise what a fitted thing is or where."""
    lock(gear.boat)
    fresh = _standing(gear)
    _check(gear.boat, fitted, today)
    for name, value in _facts(fitted).items():
        setattr(fresh, name, value)
    fresh.save()
    return fresh


@transaction.atomic
def take_out(gear: Gear, *, on: date, today: date) -> Gear:
    """Say that a thing was taken off the boat; it stays on record."""
    lock(gear.boat)
    fresh = _standing(gear)
    if fresh.removed_on:
        raise Refused(f"{fresh} was removed on {fresh.removed_on:%-d %b %Y} already.", code="removed")
    past_day(on, today, "on")
    if fresh.fitted_on and on < fresh.fitted_on:
        raise Refused(f"It was fitted on {fresh.fitted_on:%-d %b %Y} only.", code="before_fitted", field="on")
    fresh.removed_on = on
    fresh.save(update_fields=["removed_on"])
    return fresh


@transaction.atomic
def is_fitted(gear: Gear) -> Gear:
    """Say that a thing is on the boat after all (undo)."""
    lock(gear.boat)
    fresh = _standing(gear)
    if not fresh.removed_on:
        raise Refused(f"{fresh} is fitted.", code="fitted")
    fresh.removed_on = None
    fresh.save(update_fields=["removed_on"])
    return fresh


@transaction.atomic
def remove_gear(gear: Gear) -> None:
    """Take a thing off the record (undo of adding it)."""
    lock(gear.boat)
    _standing(gear).delete()


@dataclass(frozen=True)
class Left:
    """So much of a part that was left over, and the place it goes back to."""

    part: Part
    quantity: Decimal
    place: Location
    lot: Lot | None = None


@dataclass(frozen=True)
class Finished:
    """What finishing a job wrote: how it was done, what is gear now, what went back."""

    finish: Finish
    gear: list[Gear] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)


@transaction.atomic
def finish_job(
    job: Job,
    done: Done,
    fitted: Sequence[Fitted] = (),
    left: Sequence[Left] = (),
    *,
    on: date,
    by: Any,
    today: date,
) -> Finished:
    """Say how a job was done, what was fitted by it, and what is put back; all of it or nothing."""
    lock(job.boat)
    made = finish(job, done, on=on, by=by, today=today)
    gear = [fit(job.boat, one, by=by, today=today, job=job) for one in fitted]
    entries = [
        put_in(
            one.part,
            one.place,
            one.quantity,
            by=by,
            on=today,
            today=today,
            serial=one.lot.serial if one.lot else "",
            expires_on=one.lot.expires_on if one.lot else None,
        )
        for one in left
    ]
    return Finished(made, gear, entries)


@transaction.atomic
def undo_finish(
    job: Job,
    state: str,
    gear: Sequence[Gear],
    entries: Sequence[Entry],
    *,
    by: Any,
    today: date,
    done_on: date | None = None,
) -> None:
    """Take a finish back with the gear it made and what was put back by it; the job is as far as before."""
    lock(job.boat)
    unfinish(job, state, today=today, done_on=done_on)
    take_back(job, gear, entries, by=by, today=today)


@transaction.atomic
def take_back(job: Job, gear: Sequence[Gear], entries: Sequence[Entry], *, by: Any, today: date) -> None:
    """Take back gear made by a job and what was put back by it (undo)."""
    lock(job.boat)
    for one in gear:
        remove_gear(one)
    for entry in reversed(entries):
        undo(entry, by=by, today=today)


def _standing(gear: Gear) -> Gear:
    return standing(Gear.objects.filter(boat=gear.boat), gear.pk, gear.name)


def _check(boat: Boat, fitted: Fitted, today: date) -> None:
    if not fitted.name:
        raise Refused("What was fitted? Give it a name.", code="empty", field="name")
    if not 1 <= fitted.quantity <= MOST_PIECES:
        raise Refused(f"How many? From 1 to {MOST_PIECES}.", code="quantity", field="quantity")
    owned = (fitted.system, fitted.part, fitted.place)
    if any(thing is not None and thing.boat_id != boat.pk for thing in owned):
        raise Refused("That belongs to another boat.", code="other_boat")
    if fitted.fitted_on is not None:
        past_day(fitted.fitted_on, today, "fitted_on")
    if fitted.warranty_until is not None:
        if fitted.warranty_until.year > today.year + MOST_YEARS_OF_WARRANTY:
            raise Refused("Nobody answers for it so long; look at the year.", code="too_late")
        if fitted.fitted_on and fitted.warranty_until < fitted.fitted_on:
            raise Refused(
                "The warranty ends before it was fitted; look at the year.",
                code="warranty",
                field="warranty_until",
            )
        if fitted.warranty_until <= today:
            usual_day(fitted.warranty_until, today, "warranty_until")


def _facts(fitted: Fitted) -> dict[str, Any]:
    return {name: getattr(fitted, name) for name in fitted.__dataclass_fields__}
