"""How long a season of order lines takes to bring in, and how much memory: `python -m tests.bench.import_season 10000`.

Runs `import_sheet` in a process of its own on a new SQLite database in a folder that is thrown away, and says seconds
and the highest resident memory. Ends with 1 if either is over its limit (60 s and 300 MB for 10,000 lines).
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.carry.books import season

SECONDS, MEGABYTES, LINES = 60, 300, 10_000
BASE = Path(__file__).resolve().parent.parent.parent

MAKE_BOAT = """
from django.contrib.auth.models import User
from refit.boat.actions.boats import make_boat
make_boat(User.objects.create(username="owner"), name="Bench", currency="GBP")
"""


def manage(folder: str, *args: str) -> tuple[str, float, float]:
    """Run a command on the data in a folder; return what it said, its seconds and its highest resident megabytes."""
    said = Path(folder) / "said.txt"
    environment = {**os.environ, "REFIT_DATA": folder}
    environment.pop("DATABASE_URL", None)
    began = time.monotonic()
    with said.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "manage.py", *args], cwd=BASE, env=environment, stdout=out
        )
        _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{args[0]} failed: {said.read_text()}")
    return said.read_text(), time.monotonic() - began, used.ru_maxrss / 1024


def main(lines: int) -> int:
    """Measure once, and say it."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "season.xlsx"
        file.write_bytes(season(lines))
        manage(folder, "migrate", "-v0")
        manage(folder, "shell", "-v0", "-c", MAKE_BOAT)
        for what in ("first", "again"):
            said, seconds, memory = manage(folder, "import_sheet", "bench", str(file))
            print(f"{what}: {lines:,} lines, {seconds:.1f} s, {memory:.0f} MB; {said.splitlines()[-1]}")
            if seconds > SECONDS or memory > MEGABYTES:
                return 1
        manage(folder, "check_ledger")
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else LINES))
