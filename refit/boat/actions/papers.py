"""Papers: kept once, by their content, in the data folder; put on what they belong to, and taken off.

A higher floor hands in its own table that links a paper to a thing, so that this floor need not know the thing.
"""

import os
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import models, transaction
from django.db.models import Max

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, Paper, PaperKind
from refit.boat.pictures import SUFFIXES, check
from refit.boat.refusals import Refused


def file_of(paper: Paper) -> Path:
    """Return where a paper's file lies."""
    return settings.PAPERS_DIR / paper.sha256[:2] / (paper.sha256 + SUFFIXES[paper.content_type])


def add_paper(boat: Boat, data: bytes, *, kind: str, by: Any, in_tray: bool = False, name: str = "") -> Paper:
    """Keep a photo or PDF. The same content sent again is the same paper."""
    checked = check(data)
    with transaction.atomic():
        Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)
        there = Paper.objects.filter(boat=boat, sha256=checked.sha256).first()
        if there:
            return there
        newest = Paper.objects.filter(boat=boat).aggregate(newest=Max("number"))["newest"] or 0
        paper = Paper(
            boat=boat,
            number=newest + 1,
            kind=PaperKind(kind),
            in_tray=in_tray,
            name=name[:120],
            content_type=checked.content_type,
            sha256=checked.sha256,
            size=len(checked.data),
            added_by=by,
        )
        _write(file_of(paper), checked.data)
        paper.save()
        return paper


@transaction.atomic
def leave_tray(paper: Paper) -> None:
    """Take a paper out of the tray: it has found its place, or needs none."""
    Paper.objects.filter(pk=paper.pk).update(in_tray=False)


@transaction.atomic
def back_to_tray(paper: Paper) -> None:
    """Put a paper back into the tray (undo)."""
    Paper.objects.filter(pk=paper.pk).update(in_tray=True)


@transaction.atomic
def put_on(link: type[models.Model], paper: Paper, **thing: Any) -> bool:
    """Let a paper belong to a thing; it leaves the tray. Return whether it did not before.

    `link` is the table of such papers, `thing` its column and row: `put_on(PartPaper, paper, part=impeller)`.
    """
    lock(paper.boat)
    _, made = link._default_manager.get_or_create(boat=paper.boat, paper=paper, **thing)
    Paper.objects.filter(pk=paper.pk).update(in_tray=False)
    return bool(made)


@transaction.atomic
def take_off(link: type[models.Model], paper: Paper, **thing: Any) -> None:
    """Take a paper off a thing. What belongs to nothing any more lies in the tray again."""
    lock(paper.boat)
    gone, _ = link._default_manager.filter(paper=paper, **thing).delete()
    if not gone:
        raise Refused(f"{paper} is not there any more.", code="not_there")
    if not belongs(paper):
        Paper.objects.filter(pk=paper.pk).update(in_tray=True)


@transaction.atomic
def call_it(paper: Paper, kind: str) -> None:
    """Say what kind of paper it is. A receipt is shown to those who may see prices, and to nobody else."""
    Paper.objects.filter(pk=paper.pk).update(kind=PaperKind(kind))


def belongs(paper: Paper) -> bool:
    """Return whether anything at all points at the paper."""
    return any(
        relation.related_model._base_manager.filter(**{relation.field.name: paper}).exists()
        for relation in Paper._meta.related_objects
    )


def _write(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; its name is its digest, so one that is there is right."""
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_suffix(f".{os.getpid()}.half")
    with open(half, "wb", opener=lambda name, flags: os.open(name, flags, 0o600)) as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    os.replace(half, path)
