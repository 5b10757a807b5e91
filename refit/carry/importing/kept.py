"""Files between being sent and being written: in the data folder, by their digest, for a day at most."""

import hashlib
import json
import os
import re
import time
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from refit.boat.models import Boat
from refit.calc.text import UNSEEN
from refit.carry.sheets.book import Book
from refit.carry.sheets.read import read

A_DAY = 24 * 60 * 60
KEY = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Kept:
    """A file that was sent: its key, the name it came with, and what it holds."""

    key: str
    name: str
    data: bytes

    def book(self) -> Book:
        """Read it; it was readable when it was kept."""
        return read(self.data, self.name)


def keep(boat: Boat, data: bytes, name: str) -> Kept:
    """Keep a file that can be read as a spreadsheet; raise SheetProblem for any other."""
    purge()
    shown = UNSEEN.sub("", "".join(letter for letter in name if letter.isprintable()))[:100] or "spreadsheet"
    found = Kept(hashlib.sha256(data).hexdigest(), shown, data)
    found.book()
    folder = _folder(boat)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _write(folder / found.key, data)
    _write(folder / f"{found.key}.json", json.dumps({"name": shown}).encode())
    return found


def kept(boat: Boat, key: str) -> Kept | None:
    """Return a file that was kept for this boat; None if it is gone, or never was."""
    if not KEY.fullmatch(key):
        return None
    path = _folder(boat) / key
    try:
        if time.time() - path.stat().st_mtime > A_DAY:
            return None
        name = json.loads(path.with_suffix(".json").read_bytes())["name"]
        return Kept(key, name, path.read_bytes())
    except (OSError, ValueError, KeyError):
        return None


def forget(boat: Boat, key: str) -> None:
    """Throw a file away."""
    if KEY.fullmatch(key):
        for path in (_folder(boat) / key, _folder(boat) / f"{key}.json"):
            path.unlink(missing_ok=True)


def purge() -> None:
    """Throw away what is older than a day, of every boat."""
    for path in (settings.DATA_DIR / "imports").glob("*/*"):
        try:
            if time.time() - path.stat().st_mtime > A_DAY:
                path.unlink(missing_ok=True)
        except OSError:
            continue


def _folder(boat: Boat) -> Path:
    return settings.DATA_DIR / "imports" / str(boat.pk)


def _write(path: Path, data: bytes) -> None:
    half = path.with_name(f"{path.name}.{os.getpid()}.half")
    with open(half, "wb", opener=lambda name, flags: os.open(name, flags, 0o600)) as out:
        out.write(data)
    os.replace(half, path)
