"""What a job's page shows of time: what it comes after, who is booked, its conditions, hours, how it was done.

Decides what each person sees of it: a trade sees no hours, and other jobs only as "another job".
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Q, Sum

from refit.boat.models import Paper
from refit.boat.rights import Right
from refit.calc.clashes import Piece, cautions
from refit.calc.clashes import Trait as Danger
from refit.calc.worktime import days_in_words, hours_and_minutes, worth
from refit.pages import seeing
from refit.pages.forms.dates import AfterForm, BookingForm
from refit.pages.forms.doing import FoundForm
from refit.stores.models import Kept, Lot, Movement, Part, Reason
from refit.voyage.models import Gear
from refit.work.actions.dates import last_day, terms_of
from refit.work.models import After, Booking, Finish, Hours, Job, JobPaper, Moment, Priority, State
from refit.work.reading import Spell, offered_jobs, spells

NIL = Decimal(0)


@dataclass(frozen=True)
class Step:
    """One arrow between two jobs: the other job if it may be seen, and how far that is."""

    pk: int
    job: Job | None
    done: bool


@dataclass(frozen=True)
class Comes:
    """A booking with its last day, and whether it has passed."""

    booking: Booking
    last: date
    past: bool


@dataclass(frozen=True)
class TakenRow:
    """So much of a part (and batch) that was taken for a job and not undone."""

    part: Part
    lot: Lot | None
    quantity: Decimal

    @property
    def prefix(self) -> str:
        """Return what its fields are named by in a form."""
        return f"t{self.part.pk}-{self.lot.pk if self.lot else 0}"


def time_of(request: Any, job: Job) -> dict[str, Any]:
    """Return the context of a job's page that is about time."""
    bookings = [_comes(row, request.today) for row in job.bookings.all()]  # type: ignore[attr-defined]
    traits = [row.trait for row in job.traits.all()]  # type: ignore[attr-defined]
    finish = Finish.objects.filter(job=job).select_related("entered_by").first()
    context: dict[str, Any] = {
        "steps": _steps(request, job),
        "bookings": [row for row in bookings if not row.booking.cancelled_at],
        "cancelled": [row.booking for row in bookings if row.booking.cancelled_at],
        "conditions": conditions(job),
        "cautions": cautions_of(job, traits, request.today),
        "finish": finish,
        "done_without": job.state == State.DONE and finish is None,
        "gear": list(Gear.objects.filter(job=job).select_related("place").order_by("id")),
        "shown": _moments(request, job),
        "found_in": _visible(request, job.found_during),
        "led_to": list(seeing.jobs(request.member).filter(found_during=job).order_by("number")),
    }
    if Right.SEE_ALL in request.rights:
        context |= _hours(request, job)
    if Right.WORK in request.rights:
        context["after_form"] = AfterForm(request.boat, auto_id="after_%s")
        context["booking_form"] = BookingForm(request.boat, auto_id="booking_%s")
        context["found_form"] = FoundForm(request.boat, auto_id="found_%s")
        context["jobs_offered"] = offered_jobs(seeing.jobs(request.member).exclude(pk=job.pk))  # type: ignore[arg-type]
    return context


def _steps(request: Any, job: Job) -> dict[str, list[Step]]:
    """Return what the job comes after and what comes after it, in two queries."""
    rows = After.objects.filter(Q(job=job) | Q(after=job)).select_related("job", "after").order_by("id")
    found: dict[str, list[Step]] = {"after": [], "before": []}
    arrows = list(rows)
    others = {row.after_id if row.job_id == job.pk else row.job_id for row in arrows}
    seen = (
        set(seeing.jobs(request.member).filter(pk__in=others).values_list("pk", flat=True))
        if others
        else set()
    )
    for row in arrows:
        other = row.after if row.job_id == job.pk else row.job
        side = "after" if row.job_id == job.pk else "before"
        found[side].append(Step(row.pk, other if other.pk in seen else None, other.state == State.DONE))
    return found


def _comes(booking: Booking, today: date) -> Comes:
    last = last_day(booking)
    return Comes(booking, last, last < today)


def _visible(request: Any, job: Job | None) -> Job | None:
    if job is None:
        return None
    return seeing.jobs(request.member).filter(pk=job.pk).first()


def conditions(job: Job) -> list[str]:
    """Return when and how a job can be done, in words."""
    found = []
    if job.days is not None:
        found.append(f"takes {days_in_words(job.days)} of work")
    if job.priority != Priority.NORMAL:
        found.append("comes first" if job.priority == Priority.FIRST else "can wait")
    if job.not_before:
        found.append(f"not before {job.not_before:%-d %b %Y}")
    if job.space:
        alone = ", nobody else there meanwhile" if job.sole_use else ""
        found.append(f"in {job.space}{alone}")
    if job.dry:
        found.append("needs dry weather")
    if job.above_celsius is not None:
        found.append(f"needs more than {job.above_celsius} °C".replace("-", "−"))
    if job.cure_days:
        found.append(f"{job.cure_days} day{'' if job.cure_days == 1 else 's'} to cure after it")
    return found


def cautions_of(job: Job, traits: list[str], today: date) -> list[str]:
    """Return the cautions that go with a job for what it brings with it."""
    known = frozenset(Danger(trait) for trait in traits if trait in set(Danger))
    piece = Piece(str(job.number), known, today, today)
    return [caution.sentence for caution in cautions([piece])]


def _hours(request: Any, job: Job) -> dict[str, Any]:
    """Return own hours on the job, and for those who see money what they are worth."""
    rows: list[Spell] = spells(Hours.objects.filter(job=job))
    total = sum(row.minutes for row in rows)
    context: dict[str, Any] = {
        "spells": [(row.name, hours_and_minutes(row.minutes)) for row in rows],
        "hours_total": hours_and_minutes(total) if rows else "",
    }
    if rows and Right.SEE_MONEY in request.rights:
        rate = terms_of(request.boat).hour_rate
        if rate is not None:
            context |= {"hour_rate": rate, "hours_worth": worth(total, rate)}
    return context


def _moments(request: Any, job: Job) -> list[tuple[str, list[Paper]]]:
    """Return the photos that show the job before and after."""
    links = JobPaper.objects.filter(job=job).exclude(moment=Moment.ANY).select_related("paper")
    seen = links.filter(paper__in=seeing.papers(request.member).values("pk")).order_by("paper__number")
    sides: dict[str, list[Paper]] = {Moment.BEFORE: [], Moment.AFTER: []}
    for link in seen:
        sides[link.moment].append(link.paper)
    return [(Moment(side).label, papers) for side, papers in sides.items() if papers]


def taken_for(job: Job) -> list[TakenRow]:
    """Return what was taken for a job and not undone, counted things only, by part and batch."""
    sums: dict[tuple[int, int | None], Decimal] = {}
    rows = (
        Movement.objects.filter(job=job, part__kept=Kept.COUNTED)
        .filter(Q(reason=Reason.USED) | Q(reason=Reason.UNDONE, reverses__reason=Reason.USED))
        .order_by()
        .values_list("part", "lot", "reason")
        .annotate(total=Sum("quantity"))
    )
    for part, lot, reason, total in rows:
        sums[(part, lot)] = sums.get((part, lot), NIL) + (total if reason == Reason.USED else -total)
    there = {key: total for key, total in sums.items() if total > 0}
    parts = Part.objects.select_related("usual_place", "system").in_bulk({part for part, _ in there})
    lots = Lot.objects.in_bulk({lot for _, lot in there if lot})
    found = [TakenRow(parts[part], lots.get(lot or 0), total) for (part, lot), total in there.items()]
    return sorted(
        found, key=lambda row: (row.part.name.casefold(), row.part.pk, row.lot.pk if row.lot else 0)
    )
