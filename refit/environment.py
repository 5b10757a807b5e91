"""Read settings from the environment, and fail loudly on what cannot be meant.

Decides where the data folder lies and how the secret key is made; decides nothing about the program itself.
"""

import hashlib
import os
import secrets
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured


def data_folder(base: Path) -> Path:
    """Return the folder that holds the database, the papers and the secret key (`REFIT_DATA`)."""
    given = os.environ.get("REFIT_DATA", "").strip()
    folder = Path(given) if given else Path("data") / "boat"
    return folder if folder.is_absolute() else base / folder


def secret_key(folder: Path) -> str:
    """Return `SECRET_KEY`, or the one kept in the data folder, making it on first use, for its owner only."""
    given = os.environ.get("SECRET_KEY", "").strip()
    if given:
        return given
    kept = folder / "secret_key"
    try:
        return kept.read_text().strip()
    except FileNotFoundError:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)  # its owner only: the database lies in it
    made = secrets.token_urlsafe(64)
    try:
        handle = os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:  # another process was quicker
        return kept.read_text().strip()
    with os.fdopen(handle, "w") as out:
        out.write(made)
    return made


def label_address() -> str:
    """Return what labels lead to (`REFIT_ADDRESS`), without a slash at the end.

    The default is short on purpose: with a four-character code it just fits the smaller QR symbol.
    """
    given = (os.environ.get("REFIT_ADDRESS", "").strip() or "http://boat.local:8000").rstrip("/")
    parts = urlsplit(given)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.path or parts.query:
        raise ImproperlyConfigured(
            f"REFIT_ADDRESS is {given!r}; it must be an address such as http://boat.local:8000, with no path."
        )
    return given


def cookie_suffix(folder: Path) -> str:
    """Return letters that differ between installations, as cookies are shared by the ports of one host."""
    return hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:8]
