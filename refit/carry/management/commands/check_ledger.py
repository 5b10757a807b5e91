"""`manage.py check_ledger`: prove the stores ledger and every stored sum."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from refit.carry.ledger import differences


class Command(BaseCommand):
    help = "Prove the stores ledger, recompute stored sums, check that the guards are in place."

    def handle(self, *args: Any, **options: Any) -> None:
        found = 0
        for sentence in differences():
            found += 1
            self.stdout.write(sentence)
        if found:
            raise CommandError(f"{found} {'difference' if found == 1 else 'differences'} found, named above.")
        self.stdout.write("The ledger is clean: every holding and every sum is what it is made of.")
