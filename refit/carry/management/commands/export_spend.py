"""`manage.py export_spend <boat> <file.xlsx>`: what the refit has cost, as a workbook."""

import contextlib
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from refit.boat.clock import day_of
from refit.boat.models import Boat
from refit.buying.spend import Filters
from refit.carry.spend import report
from refit.reports.spend import spend_workbook


class Command(BaseCommand):
    help = (
        "Write what the refit has cost by system, job, supplier and month, with the lines, as an xlsx file."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("boat", help="the boat's short name, as in its address")
        parser.add_argument("file", help="the spreadsheet to write, such as spend.xlsx")

    def handle(self, *args: Any, **options: Any) -> None:
        boat = Boat.objects.filter(slug=options["boat"]).first()
        if boat is None:
            there = ", ".join(Boat.objects.order_by("slug").values_list("slug", flat=True)[:20])
            known = f"The boats here: {there}." if there else "There is no boat here yet."
            raise CommandError(f"No boat is called {options['boat']}. {known}")
        path = Path(options["file"])
        if path.suffix.lower() != ".xlsx":
            raise CommandError(f"{path} does not end in .xlsx; a spreadsheet would not open it.")
        found = report(boat, Filters(), on=day_of(boat))
        _write(path, spend_workbook(found))
        self.stdout.write(f"{boat}: {len(found.lines)} lines written to {path}.")


def _write(path: Path, content: bytes) -> None:
    """Write beside the file first, so that a full disk leaves the file of yesterday whole."""
    half = path.with_name(f".{path.name}.part")
    try:
        half.write_bytes(content)
        half.replace(path)
    except OSError as problem:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        raise CommandError(f"{path} can't be written: {problem.strerror}.") from None
