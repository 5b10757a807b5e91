"""A form sent twice acts once.

Decides by a key made on the server and a digest of what was sent: the same key with the same content has been
done already; with other content it is a new deed. The key is kept in the transaction that acts.
"""

import hashlib
import secrets
from collections.abc import Iterable
from datetime import datetime

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from refit.boat.models import Boat, FormKey


class AlreadyDone(Exception):
    """This very form was acted on before."""

    def __init__(self, done_at: datetime, led_to: str) -> None:
        super().__init__("already recorded")
        self.done_at = done_at
        self.led_to = led_to


def new_key() -> str:
    """Return a key for a form that is being shown."""
    return secrets.token_urlsafe(18)


def digest(pairs: Iterable[tuple[str, str]]) -> str:
    """Return the digest of a form's content, whatever the order of its fields."""
    whole = hashlib.sha256()
    for name, value in sorted(pairs):
        for word in (name, value):
            data = word.encode("utf-8", "surrogatepass")
            whole.update(len(data).to_bytes(8, "big") + data)
    return whole.hexdigest()


def claim(boat: Boat | None, user: User, key: str, content: str) -> FormKey:
    """Keep the key in the running transaction; raise `AlreadyDone` if this content was done with it."""
    key = key.replace("\x00", "")[:40]  # what no page of ours sent is still no reason to fall over
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("claim() belongs inside the transaction that acts")
    try:
        with transaction.atomic():
            return FormKey.objects.create(boat=boat, user=user, key=key, digest=content)
    except IntegrityError:
        done = FormKey.objects.filter(user=user, key=key, digest=content).first()
        if done is None:
            raise
        raise AlreadyDone(done.done_at, done.led_to) from None
