"""Rope, wire, hose, cable and chain in pieces: each is a numbered lot whose quantity is its length.

Decides what a cut leaves: a piece, or bits too short to keep. What is cut off is used, or becomes a piece by itself.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from refit.boat.actions.boats import lock
from refit.boat.models import Location
from refit.boat.refusals import Refused
from refit.calc.sets import Cut, SetProblem
from refit.calc.sets import cut as cut_off
from refit.stores.actions.keeping import mind_kept
from refit.stores.actions.ledger import NIL, Move, record
from refit.stores.amounts import amount
from refit.stores.models import Entry, EntryKind, Holding, Lot, Part, Reason, SetAside
from refit.work.models import Job


def new_lot(part: Part, **facts: Any) -> Lot:
    """Make the next numbered lot of a part: a piece, or a thing taken off the boat. Under the boat's lock."""
    newest = Lot.objects.filter(part=part).aggregate(newest=Max("number"))["newest"] or 0
    return Lot.objects.create(boat=part.boat, part=part, number=newest + 1, **facts)


def is_piece(holding: Holding) -> bool:
    """Return whether a holding is one piece with a length, which is cut and not counted off."""
    return holding.part.in_pieces and holding.lot is not None and holding.lot.number is not None


@dataclass(frozen=True)
class Taking:
    """The movements of a cut off a piece, and what is left of it in words."""

    moves: list[Move]
    left: str


def cutting(holding: Holding, quantity: Decimal, job: Job | None) -> Taking:
    """Return what cutting so much off a piece and using it moves; a rest that is too short leaves the stores."""
    result = _cut(holding, quantity)
    used = Move(holding.part, Reason.USED, quantity, from_place=holding.place, lot=holding.lot, job=job)
    return Taking([used, *_bits(holding, result)], _left(holding, result))


@transaction.atomic
def cut_and_keep(
    holding: Holding, quantity: Decimal, to: Location, *, by: Any, on: date, today: date, agreed: bool = False
) -> Entry:
    """Cut so much off a piece and put it into a place as a piece by itself; one deed, one undo."""
    lock(holding.boat)
    fresh = Holding.objects.select_related("part", "lot", "place", "boat").get(pk=holding.pk)
    if not is_piece(fresh):
        raise Refused(f"{fresh.part} does not lie there in pieces.", code="no_piece")
    result = _cut(fresh, quantity)
    if not result.rest and not result.bits:
        raise Refused(f"That is the whole of {fresh.lot}; move it instead.", code="whole", field="quantity")
    off = quantity + result.bits
    mind_kept(fresh, result.bits, (), today=today, agreed=agreed, off=off)
    part = fresh.part
    made = new_lot(part, **_facts(fresh.lot))
    moves = [
        Move(part, Reason.CUT, quantity, from_place=fresh.place, lot=fresh.lot),
        Move(part, Reason.CUT, quantity, to_place=to, lot=made),
        *_bits(fresh, result),
    ]
    said = f"Cut {amount(part, quantity)} off {fresh.lot} of {part.name} in {fresh.place.plate}: it is {made}, in {to.plate}."
    return record(fresh.boat, EntryKind.CUT, said + _left(fresh, result), moves, by=by, on=on, today=today)


def _facts(lot: Lot | None) -> dict[str, Any]:
    """Return what a piece cut off shares with the piece that it was cut off."""
    if lot is None:
        return {}
    return {"serial": lot.serial, "expires_on": lot.expires_on, "condition": lot.condition}


def _cut(holding: Holding, quantity: Decimal) -> Cut:
    part = holding.part
    if quantity <= 0:
        raise Refused("How much? Type a length above nil.", code="nothing", field="quantity")
    try:
        return cut_off(holding.quantity, quantity, part.bits_under)
    except SetProblem:
        raise Refused(
            f"{str(holding.lot).capitalize()} of {part} in {holding.place.plate} is {amount(part, holding.quantity)} long; "
            f"{amount(part, quantity)} cannot be cut from it.",
            code="longer_than_it_is",
            field="quantity",
        ) from None


def _bits(holding: Holding, result: Cut) -> list[Move]:
    if not result.bits:
        return []
    return [Move(holding.part, Reason.BITS, result.bits, from_place=holding.place, lot=holding.lot)]


def _left(holding: Holding, result: Cut) -> str:
    part = holding.part
    if result.bits:
        return f" The rest, {amount(part, result.bits)}, is too short to keep and went to bits."
    return f" That leaves {amount(part, result.rest)} of {holding.lot}." if result.rest else ""


@transaction.atomic
def keep_in_pieces(part: Part, *, by: Any, on: date, today: date) -> Entry | None:
    """Keep a part in pieces from now on: what lies in a place, all of one batch, becomes one piece there.

    Refused where some of it is set aside: that must be kept or sent back first.
    """
    lock(part.boat)
    fresh = Part.objects.get(pk=part.pk)
    held = Holding.objects.filter(part=fresh, quantity__gt=0).select_related("lot", "place")
    whole = [row for row in held.order_by("id") if row.lot is None or row.lot.number is None]
    aside = SetAside.objects.filter(holding__in=[row.pk for row in whole], closed_at=None).first()
    if aside is not None:
        raise Refused(
            f"Some of {fresh} in {aside.holding.place.plate} lies aside. Keep it or send it back first.",
            code="set_aside",
            field="in_pieces",
        )
    fresh.in_pieces = True
    fresh.save(update_fields=["in_pieces"])
    moves: list[Move] = []
    for row in whole:
        made = new_lot(fresh, **_facts(row.lot))
        moves.append(Move(fresh, Reason.CUT, row.quantity, from_place=row.place, lot=row.lot))
        moves.append(Move(fresh, Reason.CUT, row.quantity, to_place=row.place, lot=made))
    if not moves:
        return None
    many = len(whole)
    said = f"{fresh.name} is kept in pieces: what lay in {many} place{'s' * (many != 1)} is {many} piece{'s' * (many != 1)}."
    return record(fresh.boat, EntryKind.CUT, said, moves, by=by, on=on, today=today)


def split_up(
    part: Part, place: Location, quantity: Decimal, lengths: list[Decimal], first: Lot
) -> list[Move]:
    """Return the movements that make pieces of what came as one: `first` keeps the first length.

    `lengths` together are the quantity. The first piece arrives whole, so that its paper points at one movement.
    """
    moves: list[Move] = []
    for length in lengths[1:]:
        made = new_lot(part, **_facts(first))
        moves.append(Move(part, Reason.CUT, length, from_place=place, lot=first))
        moves.append(Move(part, Reason.CUT, length, to_place=place, lot=made))
    assert sum(lengths, NIL) == quantity
    return moves
