"""`manage.py all_my_data <boat> <file.xlsx|file.zip>`: everything that is kept of a boat, to leave with."""

import contextlib
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from refit.boat.models import Boat
from refit.carry.everything import TABLES, folder, write_workbook


class Command(BaseCommand):
    help = "Write all data of a boat: as one workbook (.xlsx), or as csv files with the papers (.zip)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("boat", help="the boat's short name, as in its address")
        parser.add_argument("file", help="the file to write, such as kittiwake.xlsx or kittiwake.zip")

    def handle(self, *args: Any, **options: Any) -> None:
        boat = Boat.objects.filter(slug=options["boat"]).first()
        if boat is None:
            there = ", ".join(Boat.objects.order_by("slug").values_list("slug", flat=True)[:20])
            known = f"The boats here: {there}." if there else "There is no boat here yet."
            raise CommandError(f"No boat is called {options['boat']}. {known}")
        path = Path(options["file"])
        if path.suffix.lower() not in (".xlsx", ".zip"):
            raise CommandError(f"{path} must end in .xlsx (one workbook) or .zip (csv files and the papers).")
        self._write(path, boat)
        self.stdout.write(f"{boat}: {len(TABLES)} tables written to {path}.")

    def _write(self, path: Path, boat: Boat) -> None:
        """Write beside the file first, so that a full disk leaves the file of yesterday whole."""
        half = path.with_name(f".{path.name}.part")
        try:
            with half.open("wb") as out:
                if path.suffix.lower() == ".xlsx":
                    write_workbook(out, boat, self._say)
                else:
                    for chunk in folder(boat, self._say):
                        out.write(chunk)
            half.replace(path)
        except OSError as problem:
            with contextlib.suppress(OSError):
                half.unlink(missing_ok=True)
            raise CommandError(f"{path} can't be written: {problem.strerror}.") from None

    def _say(self, word: str) -> None:
        self.stdout.write(f"  {word} ...")
        self.stdout.flush()
