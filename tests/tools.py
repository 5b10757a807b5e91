"""Programs of the machine that some tests need: left out where they are missing, failed where `CI` is set."""

import os
import shutil

import pytest


def need(program: str) -> str:
    """Return where a program lies; without it skip the test, or fail it where `CI` is set."""
    path = shutil.which(program)
    if path:
        return path
    package = "libreoffice-calc" if program == "soffice" else "poppler-utils"
    said = f"{program} is not on this machine: install {package}."
    if os.environ.get("CI"):
        pytest.fail(said)
    pytest.skip(said)
