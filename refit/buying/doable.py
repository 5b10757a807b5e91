"""Jobs that can be done now: everything is here, nothing comes before them, nobody else is in their place.

Decides which jobs those are and in which order; says of none that it is safe. A job marked waiting waits for something
that the program does not know, and is left out; so is one booked for another day, and one that wants something in words
that nobody has ticked off. Takes a boat as it was netted; reads two queries more.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal

from refit.buying.netted import Netted
from refit.calc.netting import Verdict
from refit.calc.worktime import HOURS_A_DAY
from refit.work.models import Booking, Job, JobTrait, State, Trait
from refit.work.planning import job_key, tasks_of

LONGER, WET, COLD, LOUD, DUSTY = "take longer", "need it dry", "need it warmer", "are noisy", "are dusty"
LONGEST_CURE = timedelta(days=366)


@dataclass(frozen=True)
class Ticks:
    """What the day is like and what one wants: hours there are, whether it is dry, how warm (None: not said)."""

    hours: Decimal | None = None
    dry: bool = False
    celsius: int | None = None
    quiet: bool = False
    no_dust: bool = False


@dataclass(frozen=True)
class Doable:
    """A job that can be done now, what it brings with it, and whether a milestone hangs on it."""

    job: Job
    traits: frozenset[str]
    critical: bool
    booked: Booking | None = None

    @property
    def marks(self) -> list[str]:
        """Return what is to be minded before it is begun, in words."""
        found = []
        if self.job.days is None:
            found.append("nobody said how long it takes")
        if self.job.dry:
            found.append("needs dry weather")
        if self.job.above_celsius is not None:
            found.append(f"needs more than {self.job.above_celsius} °C".replace("-", "−"))
        found += [
            word for trait, word in ((Trait.NOISE, "noisy"), (Trait.DUST, "dusty")) if trait in self.traits
        ]
        if self.job.cure_days:
            found.append(
                f"then left alone for {self.job.cure_days} day{'' if self.job.cure_days == 1 else 's'}"
            )
        return found


@dataclass
class Found:
    """The jobs that can be done now, and how many more nothing but the day or the hours holds up."""

    rows: list[Doable] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)  # how many by why
    waiting: int = 0
    going: list[Doable] = field(default_factory=list)  # in hand and longer than the hours: to go on with


def doable(net: Netted, critical: frozenset[str], ticks: Ticks) -> Found:
    """Return the jobs that can be done now: those without days last, then by priority, critical, short first."""
    traits = _traits(net)
    found = Found()
    for job in now(net):
        if job.state == State.WAITING:
            found.waiting += 1
            continue
        row = Doable(job, traits.get(job.pk, frozenset()), job_key(job) in critical, _today(net, job))
        why_not = unsuited(row, ticks)
        if why_not == LONGER and job.state == State.IN_HAND:
            found.going.append(row)
        elif why_not:
            found.left_out[why_not] += 1
        else:
            found.rows.append(row)
    found.rows.sort(key=_order)
    found.going.sort(key=_order)
    return found


def unsuited(row: Doable, ticks: Ticks) -> str:
    """Return why a job does not suit the day or the hours; nothing if it does."""
    job = row.job
    if job.dry and not ticks.dry:
        return WET
    if ticks.celsius is not None and job.above_celsius is not None and ticks.celsius <= job.above_celsius:
        return COLD
    if ticks.quiet and Trait.NOISE in row.traits:
        return LOUD
    if ticks.no_dust and Trait.DUST in row.traits:
        return DUSTY
    longer = ticks.hours is not None and job.days is not None and job.days * HOURS_A_DAY > ticks.hours
    return LONGER if longer else ""


def now(net: Netted) -> list[Job]:
    """Return the jobs that nothing holds up today, whatever the weather; one query."""
    tasks = {task.key: task for task in tasks_of(net.work)}
    taken = _taken(net)
    found = []
    for job in net.work.jobs:
        task = tasks[job_key(job)]
        if task.after or (task.not_before and task.not_before > net.today):
            continue
        if (
            not _parts_here(net, job)
            or _booked_else(net, job)
            or taken.get(job.space_id or 0, job.pk) != job.pk
        ):
            continue
        found.append(job)
    return found


def _order(row: Doable) -> tuple[bool, int, bool, Decimal, int]:
    days = row.job.days
    return (days is None, row.job.priority, not row.critical, days or Decimal(0), row.job.number)


def _parts_here(net: Netted, job: Job) -> bool:
    rows = net.by_job.get(job.pk, ())
    return all(row.met is not None and row.met.verdict is Verdict.HERE for row in rows)


def _today(net: Netted, job: Job) -> Booking | None:
    """Return the booking of a job that covers today."""
    rows = net.work.bookings.get(job.pk, ())
    return next((row for row in rows if row.day <= net.today < row.day + timedelta(days=row.days)), None)


def _booked_else(net: Netted, job: Job) -> bool:
    rows = net.work.bookings.get(job.pk, ())
    return _today(net, job) is None and any(row.day > net.today for row in rows)


def _taken(net: Netted) -> dict[int, int]:
    """Return the spaces of sole use that a job in hand or one that still cures has taken, and by which."""
    shared = {job.space_id for job in net.work.jobs if job.sole_use and job.space_id}
    taken = {
        job.space_id: job.pk
        for job in net.work.jobs
        if job.space_id in shared and job.state == State.IN_HAND and job.space_id
    }
    done = Job.objects.filter(
        boat=net.boat,
        state=State.DONE,
        cure_days__gt=0,
        space__isnull=False,
        done_on__gte=net.today - LONGEST_CURE,
    )
    for pk, space, on, cure_days, sole_use in done.values_list(
        "pk", "space", "done_on", "cure_days", "sole_use"
    ):
        if on and space and (sole_use or space in shared) and on + timedelta(days=cure_days) >= net.today:
            taken[space] = pk
    return taken


def _traits(net: Netted) -> Mapping[int, frozenset[str]]:
    found: dict[int, set[str]] = defaultdict(set)
    for job, trait in JobTrait.objects.filter(boat=net.boat).values_list("job_id", "trait"):
        found[job].add(trait)
    return {job: frozenset(traits) for job, traits in found.items()}
