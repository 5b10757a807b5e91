"""How the tests are dealt out to several processes: one by one, but for what one set-up serves."""

from xdist.scheduler import LoadScopeScheduling

# Files that set something up once for all their tests: a running program, many photos, all codes.
FILES = {"tests/carry/test_serve.py", "tests/carry/test_photo_codes.py", "tests/calc/test_codes.py"}


class Together(LoadScopeScheduling):
    """Gives a whole class, and a whole file of those above, to one process."""

    def _split_scope(self, nodeid: str) -> str:
        return kept_together(nodeid)


def kept_together(nodeid: str) -> str:
    """Return the name of what a test is dealt out with: its file, its class, or itself."""
    file, *rest = nodeid.split("[")[0].split("::")
    if file in FILES:
        return file
    return f"{file}::{rest[0]}" if len(rest) > 1 else nodeid
