"""`manage.py print_labels <boat> <file.pdf>`: the labels of all places in use, as a PDF to print."""

import os
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from refit.boat.models import Boat
from refit.carry.labels import labelled, rows_of_places
from refit.reports.labels import LabelProblem, label_sheets, sheets_needed
from refit.reports.sheets import STOCKS


class Command(BaseCommand):
    help = "Write the labels of all labelled places of a boat into a PDF."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("boat", help="the boat's name in addresses, such as kittiwake")
        parser.add_argument("file", help="the PDF to write")
        parser.add_argument("--stock", default="a4-21", help=f"label stock: {', '.join(STOCKS)}")
        parser.add_argument("--first-place", type=int, default=1, help="first free label on the first sheet")
        parser.add_argument("--nudge-x", type=float, default=0.0, help="move right by so many mm")
        parser.add_argument("--nudge-y", type=float, default=0.0, help="move down by so many mm")

    def handle(self, *args: Any, **options: Any) -> None:
        boat = _boat(options["boat"])
        rows = rows_of_places(labelled(boat))
        if not rows:
            raise CommandError(
                f"{boat.name} has no lockers, boxes or bags yet, so there is nothing to print."
            )
        stock, first = options["stock"], options["first_place"]
        try:
            pdf = label_sheets(
                rows,
                stock,
                first_place=first,
                nudge_x_mm=options["nudge_x"],
                nudge_y_mm=options["nudge_y"],
                boat=boat.name,
            )
        except LabelProblem as problem:
            raise CommandError(str(problem)) from None
        _write(Path(options["file"]), pdf)
        sheets = sheets_needed(len(rows), stock, first)
        self.stdout.write(
            f"{len(rows)} label{'s' if len(rows) != 1 else ''} on {sheets} sheet{'s' if sheets != 1 else ''} "
            f"({STOCKS[stock].name}) in {options['file']}. Print at 100 %, not fitted to the page."
        )


def _boat(slug: str) -> Boat:
    try:
        boat = Boat.objects.filter(slug=slug).first()
        if boat is not None:
            return boat
        known = ", ".join(Boat.objects.order_by("slug").values_list("slug", flat=True)[:20])
    except DatabaseError:
        raise CommandError("There is no database of boats here yet; start the program once first.") from None
    there = f"There are: {known}." if known else "There is no boat here yet."
    raise CommandError(f"There is no boat “{slug[:40]}”. {there}")


def _write(path: Path, data: bytes) -> None:
    """Write the file whole or not at all, so that a full disk never leaves half a sheet behind."""
    if not path.name or (path.exists() and not path.is_file()):
        raise CommandError(f"{path} could not be written: it is not a file.")
    half = path.with_name(f".{path.name}.{os.getpid()}.half")
    try:
        half.write_bytes(data)
        os.replace(half, path)
    except OSError as problem:
        half.unlink(missing_ok=True)
        raise CommandError(f"{path} could not be written: {problem.strerror}.") from None
