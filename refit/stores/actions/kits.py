"""Kits: what is in one, opening it, and saying that one is incomplete."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Location
from refit.boat.refusals import Refused
from refit.stores.actions.keeping import mind_kept
from refit.stores.actions.ledger import Move, record
from refit.stores.actions.pieces import new_lot
from refit.stores.amounts import amount
from refit.stores.models import (
    Condition,
    Entry,
    EntryKind,
    Holding,
    Kept,
    KitContent,
    Level,
    Lot,
    Part,
    Reason,
)

ONE = Decimal(1)


@transaction.atomic
def put_in_kit(kit: Part, part: Part, quantity: Decimal) -> KitContent:
    """Say that a kit holds so many of a part; said again, the number is put right."""
    lock(kit.boat)
    if quantity <= 0:
        raise Refused("How many? Type a number above nil.", code="nothing", field="quantity")
    if kit.kept != Kept.COUNTED:
        raise Refused(f"{kit} is not counted; a kit is.", code="not_counted")
    if kit.pk == part.pk or kit.pk in _inside(part):
        raise Refused(f"{kit} cannot be in itself.", code="in_itself", field="part")
    row, _ = KitContent.objects.update_or_create(
        boat=kit.boat, kit=kit, part=part, defaults={"quantity": quantity}
    )
    return row


def _inside(part: Part) -> set[int]:
    """Return every part in a kit, at any depth."""
    pairs: dict[int, list[int]] = {}
    for kit, content in KitContent.objects.filter(boat=part.boat).values_list("kit_id", "part_id"):
        pairs.setdefault(kit, []).append(content)
    found: set[int] = set()
    queue = list(pairs.get(part.pk, []))
    while queue:
        one = queue.pop()
        if one not in found:
            found.add(one)
            queue += pairs.get(one, [])
    return found


@transaction.atomic
def take_out_of_kit(content: KitContent) -> None:
    """Say that a kit does not hold that."""
    lock(content.boat)
    standing(KitContent.objects.all(), content.pk, "That").delete()


@transaction.atomic
def open_kit(
    holding: Holding, to: Location, *, by: Any, on: date, today: date, agreed: bool = False
) -> Entry:
    """Open one kit: it leaves its place, and what is in it goes into a place. One deed, one undo.

    What the kit has cost moves to its contents (`buying.drawn` works that out).
    """
    lock(holding.boat)
    fresh = Holding.objects.select_related("part", "lot", "place", "boat").get(pk=holding.pk)
    kit = fresh.part
    contents = list(KitContent.objects.filter(kit=kit).select_related("part").order_by("id"))
    if not contents:
        raise Refused(f"Nothing is written down as in {kit}. List what is in it first.", code="empty")
    if fresh.lot is not None and fresh.lot.condition == Condition.INCOMPLETE:
        raise Refused(
            f"This {kit} is incomplete. Say that it is complete again, or count out what is in it.",
            code="incomplete",
        )
    mind_kept(fresh, ONE, (), today=today, agreed=agreed)
    moves = [Move(kit, Reason.KIT, ONE, from_place=fresh.place, lot=fresh.lot)]
    for content in contents:
        moves += _out_of(content, to)
    said = f"Opened 1 {kit.name} from {fresh.place.plate}: {_listed(contents)} into {to.plate}."
    return record(fresh.boat, EntryKind.KIT, said, moves, by=by, on=on, today=today)


def _out_of(content: KitContent, to: Location) -> list[Move]:
    part = content.part
    if part.kept == Kept.COUNTED:
        lot = new_lot(part) if part.in_pieces else None
        return [Move(part, Reason.KIT, content.quantity, to_place=to, lot=lot)]
    level = Level.FINE if part.kept == Kept.LEVEL else Level.HERE
    there = Holding.objects.filter(part=part, place=to, lot=None).first()
    if there is not None and there.level == level:
        return []
    return [Move(part, Reason.KIT, to_place=to, level=level)]


def _listed(contents: Sequence[KitContent]) -> str:
    words = [f"{amount(row.part, row.quantity)} {row.part.name}" for row in contents[:4]]
    return ", ".join(words) + (f" and {len(contents) - 4} more" if len(contents) > 4 else "")


@transaction.atomic
def mark_incomplete(holding: Holding, missing: str, *, by: Any, on: date, today: date) -> Entry:
    """Say that one kit lacks something: it becomes a numbered one that is not usable, with what is missing."""
    lock(holding.boat)
    fresh = Holding.objects.select_related("part", "lot", "place", "boat").get(pk=holding.pk)
    if not missing:
        raise Refused("Say what is missing from it.", code="required", field="missing")
    if fresh.part.kept != Kept.COUNTED or fresh.part.in_pieces:
        raise Refused(f"{fresh.part} is not counted; it cannot be incomplete.", code="not_counted")
    if fresh.lot is not None and fresh.lot.number is not None:
        raise Refused("Say that it is incomplete where its condition is changed.", code="numbered")
    facts = {"serial": fresh.lot.serial, "expires_on": fresh.lot.expires_on} if fresh.lot else {}
    made = new_lot(fresh.part, condition=Condition.INCOMPLETE, note=missing[:200], **facts)
    moves = [
        Move(fresh.part, Reason.MOVED, ONE, from_place=fresh.place, lot=fresh.lot),
        Move(fresh.part, Reason.MOVED, ONE, to_place=fresh.place, lot=made),
    ]
    said = f"1 {fresh.part.name} in {fresh.place.plate} is incomplete, no. {made.number}: {missing[:120]}."
    return record(fresh.boat, EntryKind.MOVE, said, moves, by=by, on=on, today=today)


@transaction.atomic
def set_condition(lot: Lot, condition: str, note: str | None = None) -> Lot:
    """Say what state a numbered thing is in; only what is good counts as usable."""
    lock(lot.boat)
    fresh = standing(Lot.objects.select_related("part"), lot.pk, "That")
    if fresh.number is None or fresh.part.in_pieces:
        raise Refused(f"Only a numbered thing has a condition; {fresh} is none.", code="no_thing")
    if condition not in Condition.values or condition == Condition.NEW:
        raise Refused("Choose good, to overhaul, scrap or incomplete.", code="condition", field="condition")
    fresh.condition = condition
    if note is not None:
        fresh.note = note[:200]
    fresh.save(update_fields=["condition", "note"])
    return fresh
