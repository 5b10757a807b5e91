"""Which part took the place of which: the one rule for following that on, however often it happened."""

from collections.abc import Callable, Iterable, Mapping

from refit.stores.models import Need, Part

Newer = Mapping[int, int | None]  # what replaced a part, by primary key


def chain(part: int, newer: Callable[[int], int | None]) -> tuple[int, ...]:
    """Return a part and what took its place, by primary key, the newest last; `newer` says of one what replaced it."""
    found = [part]
    follow = newer(part)
    while follow is not None and follow not in found:
        found.append(follow)
        follow = newer(follow)
    return tuple(found)


def replacements(boat: int) -> Newer:
    """Return what replaced each part of a boat (by primary key) that was replaced; one query."""
    rows = Part.objects.filter(boat_id=boat, superseded_by__isnull=False)
    return dict(rows.values_list("pk", "superseded_by"))


def replacements_for(needs: Iterable[Need]) -> Newer:
    """Return the same where one of these needs (their parts at hand) wants a part that was replaced; else nothing is asked."""
    for need in needs:
        if need.part is not None and need.part.superseded_by_id is not None:
            return replacements(need.boat_id)
    return {}
