"""Taking several things at once, each for its job: what a fetch list does."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.refusals import Refused
from refit.stores.actions.keeping import mind_kept
from refit.stores.actions.ledger import NIL, Move, record
from refit.stores.actions.pieces import cutting, is_piece
from refit.stores.amounts import amount
from refit.stores.models import Entry, EntryKind, Holding, Kept, Reason
from refit.work.models import Job


@transaction.atomic
def take_several(
    items: Sequence[tuple[Holding, Decimal, Job]], *, by: Any, on: date, today: date, agreed: bool = False
) -> Entry:
    """Take several things out of places, each for its job: one deed, one undo. Off pieces it is cut."""
    if not items:
        raise Refused("Tick what to take.", code="nothing")
    boat = items[0][0].boat
    lock(boat)
    moves: list[Move] = []
    jobs = {item[2].pk: item[2] for item in items}
    gone: dict[int, Decimal] = {}  # of each holding, by what is taken before
    of_part: dict[int, Decimal] = {}
    for given, quantity, job in items:
        holding = Holding.objects.select_related("part", "lot", "place", "boat").get(pk=given.pk)
        if holding.part.kept != Kept.COUNTED:
            raise Refused(f"{holding.part} is not counted; look whether there is enough.", code="not_counted")
        of_part[holding.part_id] = of_part.get(holding.part_id, NIL) + quantity
        mind_kept(holding, of_part[holding.part_id], jobs.values(), today=today, agreed=agreed)
        holding.quantity -= gone.get(holding.pk, NIL)
        taken = _taking(holding, quantity, job)
        gone[holding.pk] = gone.get(holding.pk, NIL) + sum((move.quantity for move in taken), NIL)
        moves += taken
    first, quantity, job = items[0]
    whither = f" for job {job.number}" if len(jobs) == 1 else f" for {len(jobs)} jobs"
    what = f"{amount(first.part, quantity)} {first.part.name}" if len(items) == 1 else f"{len(items)} things"
    places = {item[0].place_id for item in items}
    where = f" from {first.place.plate}" if len(places) == 1 else ""
    return record(boat, EntryKind.TAKE, f"Took {what}{where}{whither}.", moves, by=by, on=on, today=today)


def _taking(holding: Holding, quantity: Decimal, job: Job) -> list[Move]:
    if is_piece(holding):
        return cutting(holding, quantity, job).moves
    return [Move(holding.part, Reason.USED, quantity, from_place=holding.place, lot=holding.lot, job=job)]
