"""`manage.py import_sheet <boat> <file> [--check]`: bring an old spreadsheet in, or say what is wrong with it."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.clock import day_of
from refit.boat.models import Boat, Member
from refit.boat.rights import Role
from refit.carry.importing import shapes
from refit.carry.importing.check import Checked, check
from refit.carry.importing.fields import BY_KEY
from refit.carry.importing.files import faults_file
from refit.carry.importing.guess import Plan, guess
from refit.carry.importing.write import NotWritten, Written, write
from refit.carry.sheets.book import MOST_BYTES, Book, SheetProblem
from refit.carry.sheets.read import read

MOST_SHOWN = 50


class Command(BaseCommand):
    help = (
        "Bring in a spreadsheet (xlsx, csv, tsv) with suppliers, parts, places and stock, jobs or orders. Nothing is "
        "written unless every row is right, or the wrong ones are left out."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("boat", help="the boat's short name, as in its address")
        parser.add_argument("file", help="the spreadsheet, such as refit.xlsx")
        parser.add_argument("--check", action="store_true", help="check it and write nothing")
        parser.add_argument(
            "--leave-out",
            metavar="FILE",
            help="bring in the rows that are right, and write the others into this xlsx with the reason",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        boat = _boat(options["boat"])
        path = Path(options["file"])
        try:
            book = read(_bytes(path), path.name)
        except SheetProblem as problem:
            raise CommandError(f"{path.name}: {problem}") from None
        plans = guess(book, shapes.known(boat))
        for sentence in book.notes:
            self._say(sentence)
        for plan in plans:
            self._say(_as_read(plan))
        if options["check"]:
            self._check(boat, book, plans)
            return
        # Under the boat's lock from the check on, so that the same file brought in twice at once makes no doubles.
        with transaction.atomic():
            lock(boat)
            made = self._bring_in(boat, book, plans, path.name, options["leave_out"])
        shapes.remember(boat, [plan for plan in plans if plan.kind])
        self._say(f"{boat}: {made.said} brought in from {path.name}.")

    def _check(self, boat: Boat, book: Book, plans: list[Plan]) -> None:
        done = check(boat, book, plans, day_of(boat))
        self._found(done)
        if done.faulty:
            raise CommandError(f"{done.faulty:,} rows are not right; nothing was written.")
        self._say("Every row is right. Nothing was written, as --check asks.")

    def _bring_in(self, boat: Boat, book: Book, plans: list[Plan], name: str, rest: str | None) -> Written:
        today = day_of(boat)
        done = check(boat, book, plans, today)
        self._found(done)
        self._left_out(boat, book, plans, done, rest)
        try:
            return write(boat, done, by=_owner(boat), today=today, name=name, say=self._progress)
        except NotWritten as refused:
            raise CommandError(f"Nothing was written: {refused}") from None

    def _found(self, done: Checked) -> None:
        for sentence in done.said:
            self._say(sentence)
        self._say(
            f"{done.rows:,} rows: {done.new:,} new, {done.known:,} here already, {done.faulty:,} not right."
        )
        for fault in done.faults[:MOST_SHOWN]:
            self.stderr.write(str(fault))
        if len(done.faults) > MOST_SHOWN:
            self.stderr.write(f"... and {len(done.faults) - MOST_SHOWN:,} more.")

    def _left_out(self, boat: Boat, book: Book, plans: list[Plan], done: Checked, file: str | None) -> None:
        if not done.rows:
            raise CommandError("No sheet could be read as suppliers, parts, places, jobs or orders.")
        if not done.faulty:
            return
        if not file:
            raise CommandError(
                f"{done.faulty:,} rows are not right; nothing was written. Put them right, or leave them out with "
                "--leave-out rest.xlsx."
            )
        try:
            Path(file).write_bytes(faults_file(boat, book, plans, done, day_of(boat)))
        except OSError as problem:
            raise CommandError(f"{file} can't be written: {problem.strerror}.") from None
        self._say(f"{done.faulty:,} rows left out; they are in {file}, each with the reason.")

    def _progress(self, what: str, at: int, of: int) -> None:
        self._say(f"  {what}: {at:,} of {of:,}")

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()


def _as_read(plan: Plan) -> str:
    if not plan.kind:
        return f"{plan.title}: left out."
    kind = BY_KEY[plan.kind]
    pairs = [
        f"{heading or '(no heading)'} → {f.label}"
        for heading, key in zip(plan.headings, plan.columns, strict=True)
        if key and (f := kind.field(key))
    ]
    before = " as last time" if plan.remembered else ""
    return f"{plan.title}: {kind.label.lower()}{before}; {', '.join(pairs)}."


def _boat(slug: str) -> Boat:
    boat = Boat.objects.filter(slug=slug).first()
    if boat is None:
        there = ", ".join(Boat.objects.order_by("slug").values_list("slug", flat=True)[:20])
        known = f"The boats here: {there}." if there else "There is no boat here yet."
        raise CommandError(f"No boat is called {slug}. {known}")
    return boat


def _owner(boat: Boat) -> Any:
    """Return the owner: whoever runs commands on this machine acts for them."""
    return Member.objects.filter(boat=boat, role=Role.OWNER).order_by("id").first().user  # type: ignore[union-attr]


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise CommandError(f"{path.name} is over 25 MB. Split it, or save it without pictures.")
        return path.read_bytes()
    except OSError as problem:
        raise CommandError(f"{path} can't be read: {problem.strerror}.") from None
