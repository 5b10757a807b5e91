"""Papers: kept once, by their content, in the data folder."""

import os
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Max

from refit.boat.models import Boat, Paper, PaperKind
from refit.boat.pictures import SUFFIXES, check


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
