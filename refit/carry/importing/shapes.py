"""How files of one shape were read before, kept by the digest of their headings."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, SheetShape
from refit.carry.importing.guess import Plan


def known(boat: Boat) -> dict[str, dict[str, Any]]:
    """Return how sheets were read before, by the digest of their headings."""
    rows = SheetShape.objects.filter(boat=boat).values_list("digest", "kind", "mapping")
    return {digest: {"kind": kind, **mapping} for digest, kind, mapping in rows}


@transaction.atomic
def remember(boat: Boat, plans: Sequence[Plan]) -> None:
    """Keep how these sheets are read, for the next file of their shape."""
    lock(boat)
    for plan in plans:
        mapping = {"columns": list(plan.columns), "options": plan.options}
        SheetShape.objects.update_or_create(
            boat=boat, digest=plan.digest, defaults={"kind": plan.kind, "mapping": mapping}
        )
