"""What is worked out once and used by every test after it: the served files, and the cast of a boat.

Nothing stays from one test to the next: the rows of the cast are written anew for each, with new label codes.
"""

import secrets
from collections.abc import Iterable
from typing import Any

from django.contrib.auth.models import User
from django.db.models import Model
from django.utils import timezone
from whitenoise.middleware import WhiteNoiseMiddleware

from refit.boat.models import Boat, Label, Location, Member, System
from refit.calc import codes
from tests.factory import Factory

_look_for_files = WhiteNoiseMiddleware.add_files_from_finders
_found: dict[tuple, dict[str, Any]] = {}


def _files_found_once(self: WhiteNoiseMiddleware) -> None:
    wanted = (self.static_prefix, self.max_age, self.charset, self.allow_all_origins)
    if wanted not in _found:
        _look_for_files(self)
        _found[wanted] = dict(self.files)
    self.files.update(_found[wanted])


def share_served_files() -> None:
    """Let every test client serve the files that the first one found: each is a server of its own."""
    WhiteNoiseMiddleware.add_files_from_finders = _files_found_once


class Cast:
    """The factory's boat and people: made by the program's own actions once, then written as they came out."""

    def __init__(self) -> None:
        self._rows: dict[type[Model], list[Any]] = {}

    def make(self) -> Factory:
        """Return a factory with its boat, in a database that has none."""
        if self._rows:
            return self._again()
        first = Factory.start()
        for model in (User, Boat, Member, Location, Label, System):  # read: no test holds these objects
            self._rows[model] = list(model._default_manager.order_by("pk"))
        return first

    def _again(self) -> Factory:
        people = self._written(User)
        boat = self._written(Boat)[0]
        self._written(Member, boat=boat, user=self._by_old(User, people))
        self._mint()
        places = self._written(Location, boat=boat)
        self._written(Label, boat=boat, location=self._by_old(Location, places))
        systems = self._written(System, boat=boat)
        cast = {person.username: person for person in people}
        return Factory(
            boat=boat, area=places[1], ashore=places[2], system=systems[0], other_system=systems[1], **cast
        )

    def _mint(self) -> None:
        taken: set[str] = set()
        for place, label in zip(self._rows[Location], self._rows[Label], strict=True):
            place.code = label.code = codes.mint(secrets.randbelow, taken, codes.payload_length_for(0))
            taken.add(label.code)

    def _by_old(self, model: type[Model], new: Iterable[Any]) -> dict[int, Any]:
        return dict(zip((row.pk for row in self._rows[model]), new, strict=True))

    def _written(self, model: type[Model], **ends: Any) -> list[Any]:
        """Write copies of a model's rows and return them; `ends` are what they point at, or that by its old id."""
        fields = [
            field
            for field in model._meta.concrete_fields
            if not field.primary_key and field.default is not timezone.now
        ]
        copies = []
        for row in self._rows[model]:
            copy = model(**{field.attname: getattr(row, field.attname) for field in fields})
            for name, end in ends.items():
                setattr(copy, name, end[getattr(row, f"{name}_id")] if isinstance(end, dict) else end)
            copies.append(copy)
        return model._default_manager.bulk_create(copies)
