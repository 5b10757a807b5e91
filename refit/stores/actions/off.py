"""What was taken off the boat: a numbered thing with its condition, put into a place at no cost."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.models import Location
from refit.boat.refusals import Refused
from refit.stores.actions.ledger import Move, record
from refit.stores.actions.parts import add_part
from refit.stores.actions.pieces import new_lot
from refit.stores.models import Condition, Entry, EntryKind, Kept, Part, Reason
from refit.work.models import Job

CONDITIONS = (Condition.GOOD, Condition.OVERHAUL, Condition.SCRAP)


@transaction.atomic
def take_off(
    job: Job,
    *,
    part: Part | None,
    name: str,
    condition: str,
    place: Location,
    quantity: Decimal = Decimal(1),
    serial: str = "",
    note: str = "",
    by: Any,
    on: date,
    today: date,
) -> Entry:
    """Put what was taken off the boat for a job into a place: a known part, or a new one of that name.

    It cost nothing. Only what is good counts as usable.
    """
    lock(job.boat)
    if condition not in CONDITIONS:
        raise Refused(
            "Say what state it is in: good, to overhaul or scrap.", code="condition", field="condition"
        )
    if part is None:
        if not name:
            raise Refused("What was taken off? Type a part or a few words.", code="empty", field="words")
        part = add_part(job.boat, name=name[:120], system=job.system)
    if part.kept != Kept.COUNTED:
        raise Refused(f"{part} is not counted; give what came off a name of its own.", code="not_counted")
    lot = new_lot(part, condition=condition, serial=serial[:60], note=note[:200])
    label = Condition(condition).label.lower()
    said = (
        f"Took {part.name} off the boat for job {job.number}, no. {lot.number}, {label}, into {place.plate}."
    )
    move = Move(part, Reason.OFF, quantity, to_place=place, lot=lot, job=job)
    return record(job.boat, EntryKind.OFF, said, [move], by=by, on=on, today=today)
