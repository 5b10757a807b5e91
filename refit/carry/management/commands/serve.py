"""`manage.py serve`: make what is missing, and serve the program on the boat's own network."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from refit.carry import serving


class Command(BaseCommand):
    help = "Make the data folder and database where missing, and serve on the boat's own network."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (8000)")
        parser.add_argument("--host", default="0.0.0.0", help="address to serve on (all)")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            serving.prepare_folder()
            self._say("Bringing the database up to date.")
            call_command("migrate", verbosity=0)
            serving.serve(options["host"], options["port"], say=self._say)
        except serving.CannotServe as reason:
            raise CommandError(str(reason)) from None

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
