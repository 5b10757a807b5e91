"""Works that endanger each other on the same days in the same space, by the days of the plan, with the reason.

Decides which jobs are shown to whom by name. What nobody said the place of may be in one space: it is told apart.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from refit.buying.netted import Netted, netted
from refit.calc.clashes import PAIRED, PRACTICE, Caution, Piece, Trait, cautions
from refit.pages import seeing
from refit.work.models import Job, JobTrait
from refit.work.planning import job_key

HANDFUL = 8


@dataclass(frozen=True)
class Danger:
    """Two jobs that endanger each other, with the days and the reason; a job that may not be seen is None."""

    jobs: tuple[Job | None, ...]
    first: date
    last: date
    sentence: str
    source: str
    place_known: bool


def dangers_of(net: Netted, first: date, last: date) -> list[Danger]:
    """Return the pairs of jobs that endanger each other in these days, those in one known place first; one query."""
    return _told(net, _pieces(net, first, last), frozenset(job.pk for job in net.work.jobs))


def few(found: list[Danger]) -> dict[str, Any]:
    """Return a handful to show: those in one known place, then those that may be in one, and how many there are."""
    known = [row for row in found if row.place_known]
    unknown = [row for row in found if not row.place_known]
    return {
        "known": known[:HANDFUL],
        "more": len(known[HANDFUL:]),
        "perhaps": unknown[:HANDFUL],
        "others": len(unknown),
    }


def dangers_for(request: Any, job: Job) -> list[Danger]:
    """Return what endangers one job or is endangered by it; nothing is planned where it brings nothing with it."""
    traits = {row.trait for row in job.traits.all()}  # type: ignore[attr-defined]
    if not traits & {str(trait) for trait in PAIRED}:
        return []
    net = netted(request.boat, request.today)
    placed = net.plan.placed.get(job_key(job))
    if placed is None:
        return []
    pieces = _pieces(net, placed.start, max(placed.finish, placed.free_from))
    seen = frozenset(seeing.jobs(request.member).values_list("pk", flat=True))
    return [row for row in _told(net, pieces, seen, job_key(job)) if row.jobs]


def _pieces(net: Netted, first: date, last: date) -> list[Piece]:
    """Return the pieces of work that touch these days, cure and drying too."""
    traits: dict[int, set[Trait]] = defaultdict(set)
    known = set(Trait)
    for pk, trait in JobTrait.objects.filter(boat=net.boat).values_list("job_id", "trait"):
        if trait in known:
            traits[pk].add(Trait(trait))
    pieces = []
    for job in net.work.jobs:
        placed = net.plan.placed.get(job_key(job))
        if placed is None or not traits[job.pk] & PAIRED:
            continue
        until = max(placed.finish, placed.free_from - timedelta(days=1))
        if placed.works_from <= last and until >= first:
            space = str(job.space_id) if job.space_id else None
            pieces.append(
                Piece(job_key(job), frozenset(traits[job.pk]), placed.works_from, until, space, placed.finish)
            )
    return pieces


def _told(net: Netted, pieces: list[Piece], seen: frozenset[int], about: str | None = None) -> list[Danger]:
    jobs = {job_key(job): job for job in net.work.jobs}
    found = [row for row in cautions(pieces) if len(row.keys) == 2 and (about is None or about in row.keys)]
    found.sort(key=lambda row: (not row.place_known, row.first, row.keys))
    return [_danger(row, jobs, seen, about) for row in found]


def _danger(row: Caution, jobs: dict[str, Job], seen: frozenset[int], about: str | None) -> Danger:
    named = tuple(jobs[key] if jobs[key].pk in seen else None for key in row.keys if key != about)
    return Danger(named, row.first, row.last, row.sentence, read_on(row.source), row.place_known)


def read_on(source: str) -> str:
    """Return where to read on, as a person is told: the guide's name, or that there is none."""
    return f"({source})" if source == PRACTICE else f"Read on: {source.removesuffix(' (from memory)')}."
