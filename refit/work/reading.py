"""Reading the work list: hours by person and job, what a job comes after, what can be named."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.contrib.auth.models import User
from django.db.models import Max, QuerySet, Sum

from refit.boat.models import Boat
from refit.work.models import OPEN_STATES, Hours, Job

MOST_OFFERED = 400


@dataclass(frozen=True)
class Spell:
    """How long somebody worked, in minutes."""

    name: str
    minutes: int


@dataclass
class JobHours:
    """Hours on one job: minutes of each person, in the order of the table's people."""

    job: Job
    minutes: list[int]
    last: date

    @property
    def total(self) -> int:
        return sum(self.minutes)


@dataclass
class Table:
    """Hours by job and by person, with their sums; minutes."""

    people: list[str] = field(default_factory=list)
    rows: list[JobHours] = field(default_factory=list)

    @property
    def totals(self) -> list[int]:
        """Return the sum of each person."""
        return [sum(row.minutes[at] for row in self.rows) for at in range(len(self.people))]

    @property
    def total(self) -> int:
        return sum(row.total for row in self.rows)


def spells(rows: "QuerySet[Hours]") -> list[Spell]:
    """Return how long each person worked, by name; two queries."""
    sums = rows.order_by().values_list("who", "helper").annotate(total=Sum("minutes"))
    found = list(sums)
    names = _names(pk for pk, _, _ in found)
    return sorted(
        (Spell(names[pk] if pk else helper, total) for pk, helper, total in found),
        key=lambda spell: spell.name.casefold(),
    )


def hours_table(boat: Boat) -> Table:
    """Return all hours of a boat by job and person, the job worked on last first; three queries."""
    sums = list(
        Hours.objects.filter(boat=boat)
        .order_by()
        .values_list("job", "who", "helper")
        .annotate(total=Sum("minutes"), last=Max("day"))
    )
    names = _names(who for _, who, _, _, _ in sums)
    jobs = Job.objects.in_bulk({job for job, _, _, _, _ in sums})
    people = sorted({names[who] if who else helper for _, who, helper, _, _ in sums}, key=str.casefold)
    place = {name: at for at, name in enumerate(people)}
    rows: dict[int, JobHours] = {}
    for pk, who, helper, total, last in sums:
        row = rows.setdefault(pk, JobHours(jobs[pk], [0] * len(people), last))
        row.minutes[place[names[who] if who else helper]] += total
        row.last = max(row.last, last)
    ordered = sorted(rows.values(), key=lambda row: (row.last, row.job.number), reverse=True)
    return Table(people, ordered)


def _names(users: Iterable[int | None]) -> dict[int, str]:
    """Return what people with an account are called; two of one name are told apart by how they sign in."""
    found = list(User.objects.filter(pk__in={pk for pk in users if pk}))
    called: dict[str, list[User]] = defaultdict(list)
    for user in found:
        called[user.first_name or user.get_username()].append(user)
    return {
        user.pk: name if len(same) == 1 else f"{name} ({user.get_username()})"
        for name, same in called.items()
        for user in same
    }


def offered_jobs(jobs: "QuerySet[Job]") -> list[Job]:
    """Return the jobs that a box offers to name: what is open first."""
    opened = jobs.filter(state__in=OPEN_STATES).order_by("number")
    return list(opened.only("number", "title", "boat")[:MOST_OFFERED])
