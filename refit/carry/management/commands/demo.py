"""`manage.py demo`: make the demo boat, show how to reach it, and serve it."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from refit.carry import demo, serving
from refit.carry.demo_files import BadFile, Files


class Command(BaseCommand):
    help = "Make the demo boat Kittiwake of Mylor, print the address and the sign-in, and serve it."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--no-serve", action="store_true", help="make it and stop")
        parser.add_argument("--fresh", action="store_true", help="throw the demo away and make it anew")
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (8000)")
        parser.add_argument("--host", default="0.0.0.0", help="address to serve on (all)")

    def handle(self, *args: Any, **options: Any) -> None:
        files = Files(timezone.localdate())
        try:
            serving.prepare_folder()
            demo.check_database()
            call_command("migrate", verbosity=0)
            self._make(files, fresh=options["fresh"])
        except demo.NotForDemo as reason:
            raise CommandError(
                f"{reason}. The demo needs a database of its own: set REFIT_DATA to an empty folder."
            ) from None
        except BadFile as reason:
            raise CommandError(f"demo/{reason}") from None
        self.stdout.write("\nSign in as (for the demo only):")
        for person in demo.people(files):
            self.stdout.write(f"  {person['name']:<8} {person['password']:<22} {person['role']}")
        if options["no_serve"]:
            return
        try:
            serving.serve(options["host"], options["port"], say=self._say, with_code=True)
        except serving.CannotServe as reason:
            raise CommandError(str(reason)) from None

    def _make(self, files: Files, *, fresh: bool) -> None:
        if fresh:
            self._say("Throwing the demo away")
            demo.empty()
        if demo.existing() is not None:
            self._say("The demo boat is here already (--fresh makes it anew).")
            return
        self._say("Making the demo boat, which takes up to a minute:")
        demo.build(files, lambda what: self._say(f"  {what}"))

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
