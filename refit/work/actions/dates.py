"""Every change of dates: what comes after what, booked days, milestones, working days, days away."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.calc.schedule import find_cycle
from refit.calc.text import fold
from refit.work.actions.days import our_day, past_day, usual_day
from refit.work.models import After, Booking, DayAway, Job, Milestone, MilestoneKind, WorkTerms

LONGEST_BOOKING, LONGEST_AWAY, MOST_MARGIN = 365, 3660, 365
LIMIT = 10**12


# What comes after what


@transaction.atomic
def come_after(job: Job, after: Job) -> After:
    """Say that a job begins only when another is done; refused, with the jobs named, where they would go round."""
    lock(job.boat)
    if job.boat_id != after.boat_id:
        raise Refused("There is no such job on this boat.", code="no_job", field="job")
    if job.pk == after.pk:
        raise Refused(f"Job {job.number} cannot come after itself.", code="itself", field="job")
    if After.objects.filter(job=job, after=after).exists():
        raise Refused(f"Job {job.number} comes after job {after.number} already.", code="there", field="job")
    arrows = list(After.objects.filter(boat=job.boat).order_by("id").values_list("after_id", "job_id"))
    circle = find_cycle([*arrows, (after.pk, job.pk)])
    if circle:
        raise Refused(_round(circle, job.pk), code="cycle", field="job")
    return After.objects.create(boat=job.boat, job=job, after=after)


def _round(circle: Sequence[int], first: int) -> str:
    start = circle.index(first) if first in circle else 0
    ordered = [*circle[start:], *circle[:start]]
    jobs = Job.objects.in_bulk(ordered)
    words = [f"{jobs[pk].number} {jobs[pk].title}" for pk in (*ordered, ordered[0])]
    return f"These jobs would wait for each other: {' → '.join(words)}. Take one of the steps out first."


@transaction.atomic
def not_after(arrow: After) -> None:
    """Say that a job need not wait for the other."""
    lock(arrow.boat)
    standing(After.objects.filter(boat=arrow.boat), arrow.pk, "That step").delete()


# Bookings


@dataclass(frozen=True)
class Coming:
    """Who comes, from which day, for how many calendar days."""

    day: date
    who: str
    days: int = 1
    note: str = ""


@transaction.atomic
def book(job: Job, coming: Coming, *, today: date, for_both: bool = False) -> Booking:
    """Say that somebody comes for a job. One who is booked for another job then is refused unless for both."""
    lock(job.boat)
    _check_coming(job.boat, coming, today)
    if not for_both:
        _check_free(job.boat, coming, None)
    return Booking.objects.create(
        boat=job.boat, job=job, day=coming.day, days=coming.days, who=coming.who, note=coming.note
    )


@transaction.atomic
def change_booking(booking: Booking, coming: Coming, *, today: date, for_both: bool = False) -> Booking:
    """Move a booking, or say otherwise who comes."""
    lock(booking.boat)
    fresh = standing(Booking.objects.filter(boat=booking.boat), booking.pk, "That booking")
    if fresh.cancelled_at:
        raise Refused("It was cancelled; take it up again first.", code="cancelled")
    if coming.day != fresh.day:
        _check_coming(booking.boat, coming, today)
    _check_length(coming)
    if not for_both:
        _check_free(booking.boat, coming, fresh.pk)
    fresh.day, fresh.days, fresh.who, fresh.note = coming.day, coming.days, coming.who, coming.note
    fresh.save()
    return fresh


@transaction.atomic
def cancel_booking(booking: Booking) -> Booking:
    """Say that they do not come."""
    lock(booking.boat)
    fresh = standing(Booking.objects.filter(boat=booking.boat), booking.pk, "That booking")
    if fresh.cancelled_at:
        raise Refused("It was cancelled already.", code="cancelled")
    fresh.cancelled_at = timezone.now()
    fresh.save(update_fields=["cancelled_at"])
    return fresh


@transaction.atomic
def uncancel_booking(booking: Booking) -> Booking:
    """Say that they come after all (undo)."""
    lock(booking.boat)
    fresh = standing(Booking.objects.filter(boat=booking.boat), booking.pk, "That booking")
    if not fresh.cancelled_at:
        raise Refused("It stands.", code="stands")
    fresh.cancelled_at = None
    fresh.save(update_fields=["cancelled_at"])
    return fresh


@transaction.atomic
def remove_booking(booking: Booking) -> None:
    """Take a booking off again (undo of adding it)."""
    lock(booking.boat)
    standing(Booking.objects.filter(boat=booking.boat), booking.pk, "That booking").delete()


def _check_coming(boat: Boat, coming: Coming, today: date) -> None:
    usual_day(coming.day, today, field="day")
    our_day(coming.day, boat, field="day")
    _check_length(coming)


def _check_length(coming: Coming) -> None:
    if not coming.who:
        raise Refused("Who comes? A name, a trade, the hoist.", code="empty", field="who")
    if not 1 <= coming.days <= LONGEST_BOOKING:
        raise Refused(f"They come for 1 to {LONGEST_BOOKING} days.", code="days", field="days")


def _check_free(boat: Boat, coming: Coming, but: int | None) -> None:
    last = coming.day + timedelta(days=coming.days - 1)
    rows = Booking.objects.filter(boat=boat, cancelled_at=None, day__lte=last)
    for other in rows.select_related("job").order_by("day", "id"):
        if other.pk == but or last_day(other) < coming.day:
            continue
        if fold(other.who) == fold(coming.who):
            raise Refused(
                f"{other.who} {'comes' if other.days == 1 else 'is booked from'} "
                f"{'on ' if other.days == 1 else ''}{other.day:%-d %b %Y} for job {other.job.number}, "
                f"{other.job.title}. Tick it if they come for both.",
                code="booked_twice",
                field="both",
            )


def last_day(booking: Booking) -> date:
    """Return the last calendar day of a booking."""
    return booking.day + timedelta(days=booking.days - 1)


# Milestones


@transaction.atomic
def add_milestone(
    boat: Boat, *, kind: str, today: date, name: str = "", target: date | None = None, job: Job | None = None
) -> Milestone:
    """Set a day that the refit works towards. There is one of each kind but other."""
    lock(boat)
    if kind not in MilestoneKind.values:
        raise Refused("Choose what kind of milestone it is.", code="kind", field="kind")
    if kind == MilestoneKind.OTHER and not name:
        raise Refused("What is it called?", code="empty", field="name")
    if kind != MilestoneKind.OTHER and Milestone.objects.filter(boat=boat, kind=kind).exists():
        label = MilestoneKind(kind).label
        raise Refused(f"{label} is there already; change its day instead.", code="taken", field="kind")
    _check_milestone(boat, target, None, job, today)
    return Milestone.objects.create(
        boat=boat, kind=kind, name=name or MilestoneKind(kind).label, target=target, job=job
    )


@transaction.atomic
def change_milestone(
    milestone: Milestone, *, name: str, target: date | None, job: Job | None, today: date
) -> Milestone:
    """Give a milestone another day, name or job that reaches it."""
    lock(milestone.boat)
    fresh = _milestone(milestone)
    if not name:
        raise Refused("What is it called?", code="empty", field="name")
    _check_milestone(fresh.boat, target, fresh.target, job, today)
    fresh.name, fresh.target, fresh.job = name, target, job
    fresh.save()
    return fresh


@transaction.atomic
def reach_milestone(milestone: Milestone, *, on: date, today: date) -> Milestone:
    """Say that a milestone was reached."""
    lock(milestone.boat)
    fresh = _milestone(milestone)
    if fresh.reached_on:
        raise Refused(f"{fresh} was reached on {fresh.reached_on:%-d %b %Y}.", code="reached")
    past_day(on, today, field="on")
    our_day(on, fresh.boat, field="on")
    fresh.reached_on = on
    fresh.save(update_fields=["reached_on"])
    return fresh


@transaction.atomic
def unreach_milestone(milestone: Milestone) -> Milestone:
    """Say that a milestone is still to be reached (undo)."""
    lock(milestone.boat)
    fresh = _milestone(milestone)
    if not fresh.reached_on:
        raise Refused(f"{fresh} is still to be reached.", code="not_reached")
    fresh.reached_on = None
    fresh.save(update_fields=["reached_on"])
    return fresh


@transaction.atomic
def remove_milestone(milestone: Milestone) -> None:
    """Take a milestone off; one that was reached stays."""
    lock(milestone.boat)
    fresh = _milestone(milestone)
    if fresh.reached_on:
        raise Refused(f"{fresh} was reached; it stays on record.", code="reached")
    fresh.delete()


def _milestone(milestone: Milestone) -> Milestone:
    return standing(Milestone.objects.filter(boat=milestone.boat), milestone.pk, milestone.name)


def _check_milestone(
    boat: Boat, target: date | None, before: date | None, job: Job | None, today: date
) -> None:
    if target is not None and target != before:
        usual_day(target, today, field="target")
        our_day(target, boat, field="target")
    if job is not None and job.boat_id != boat.pk:
        raise Refused("There is no such job on this boat.", code="no_job", field="job")


# Working days


def terms_of(boat: Boat) -> WorkTerms:
    """Return how the boat works: as set, else as usual (not saved)."""
    return WorkTerms.objects.filter(boat=boat).first() or WorkTerms(boat=boat)


@transaction.atomic
def set_terms(boat: Boat, *, weekdays: str, margin_days: int, **facts: Any) -> WorkTerms:
    """Say which weekdays are worked, how early parts should be here, whose holidays count, what an own hour is worth.

    `facts` are `country`, `region` and `hour_rate` (minor units); what is not named stays as it is.
    """
    lock(boat)
    if len(weekdays) != 7 or set(weekdays) - {"0", "1"} or "1" not in weekdays:
        raise Refused("No day of the week is worked; tick at least one.", code="weekdays", field="weekdays")
    if not 0 <= margin_days <= MOST_MARGIN:
        raise Refused(f"From 0 to {MOST_MARGIN} days.", code="margin", field="margin_days")
    rate = facts.get("hour_rate")
    if rate is not None and not 0 <= rate < LIMIT:
        raise Refused("An hour is worth nil or more, and not that much.", code="amount", field="hour_rate")
    terms = terms_of(boat)
    terms.weekdays, terms.margin_days = weekdays, margin_days
    for name in ("country", "region", "hour_rate"):
        if name in facts:
            setattr(terms, name, facts[name])
    terms.save()
    return terms


@transaction.atomic
def add_days_away(boat: Boat, first: date, last: date | None, *, today: date, why: str = "") -> DayAway:
    """Say that nobody works on the boat from one day to another, both included."""
    lock(boat)
    end = last or first
    usual_day(first, today, field="first")
    usual_day(end, today, field="last")
    if end < first:
        raise Refused(f"{end:%-d %b %Y} lies before {first:%-d %b %Y}.", code="order", field="last")
    if (end - first).days >= LONGEST_AWAY:
        raise Refused("That is over ten years; look at the year.", code="too_long", field="last")
    return DayAway.objects.create(boat=boat, first=first, last=end, why=why)


@transaction.atomic
def remove_days_away(away: DayAway) -> None:
    """Say that these days are worked after all."""
    lock(away.boat)
    standing(DayAway.objects.filter(boat=away.boat), away.pk, "That time away").delete()
