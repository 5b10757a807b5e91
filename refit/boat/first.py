"""The one-time address at which the first owner sets name and password.

Decides that the token lies in the data folder, readable by its owner only, works while there is no user, and is
gone once used.
"""

import os
import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction

from refit.boat.refusals import Refused


def token() -> str:
    """Return the token of the one-time address, made if there is none."""
    kept = _kept()
    if kept:
        return kept
    made = secrets.token_urlsafe(18)
    path = _path()
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)  # an empty or foreign file is no token
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as out:
        out.write(made)
    return made


def fits(given: str) -> bool:
    """Return whether this is the token, and nobody can sign in yet."""
    kept = _kept()
    right = secrets.compare_digest(given.encode("utf-8", "replace"), kept.encode())
    return bool(kept) and right and not User.objects.exists()


def make_owner(given: str, name: str, password: str) -> Any:
    """Make the first owner; the token is gone then. Of two at once, one is refused."""
    if not fits(given):
        raise Refused("This address has been used. Sign in instead.", code="used")
    aside = _path().with_suffix(".used")
    try:
        # Only one of two racing requests can rename the file.
        os.rename(_path(), aside)
    except FileNotFoundError:
        raise Refused("This address has been used. Sign in instead.", code="used") from None
    try:
        with transaction.atomic():
            owner = User.objects.create_superuser(name, password=password, first_name=name)
    except BaseException:
        os.rename(aside, _path())
        raise
    aside.unlink(missing_ok=True)
    return owner


def _path() -> Path:
    return settings.DATA_DIR / "first_token"


def _kept() -> str:
    try:
        return _path().read_text().strip()
    except FileNotFoundError:
        return ""
