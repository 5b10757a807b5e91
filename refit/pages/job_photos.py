"""Photos that come with a form about a job: kept, put on the job, said to show it before or after."""

from collections.abc import Iterable
from typing import Any

from refit.boat.actions import papers as keeping
from refit.boat.models import Paper
from refit.boat.pictures import check
from refit.calc.text import clean
from refit.pages.paper_owners import KINDS, kind_for
from refit.work.actions.doing import say_moment
from refit.work.models import Job, JobPaper, Moment


def keep_photos(request: Any, job: Job, files: Iterable[Any], moment: str = Moment.ANY) -> list[Paper]:
    """Keep files on a job, inside the transaction that acts; return the papers, each once."""
    found: dict[int, Paper] = {}
    for file in files:
        data = file.read()
        kind = kind_for(check(data).content_type, KINDS["job"])
        paper = keeping.add_paper(request.boat, data, kind=kind, by=request.user, name=_name(file))
        keeping.put_on(JobPaper, paper, job=job)
        if moment:
            say_moment(job, paper, moment)
        found[paper.pk] = paper
    return list(found.values())


def _name(file: Any) -> str:
    """Return the name that a file came with, or none if no database could keep it."""
    try:
        return clean(file.name or "")
    except ValueError:
        return ""
