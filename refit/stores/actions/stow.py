"""Take, put in, move, count: what is done standing at a locker."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from refit.boat.actions.boats import lock
from refit.boat.actions.places import retire_empty, use_again
from refit.boat.models import Location
from refit.boat.refusals import Refused
from refit.stores import reading
from refit.stores.actions.keeping import mind_kept
from refit.stores.actions.ledger import NIL, Move, record, undo
from refit.stores.actions.pieces import cutting, is_piece, new_lot
from refit.stores.amounts import amount
from refit.stores.models import (
    Count,
    Entry,
    EntryKind,
    Holding,
    Kept,
    Level,
    Lot,
    Missing,
    Part,
    Reason,
)
from refit.work.models import Job

MOST_PIECES = 100


@transaction.atomic
def take(
    holding: Holding,
    quantity: Decimal,
    *,
    by: Any,
    on: date,
    today: date,
    job: Job | None = None,
    agreed: bool = False,
) -> Entry:
    """Take something out of a place, for a job or just used. What is kept by level is said to be gone.

    Off a piece it is cut. What is kept for another job is taken only if that is `agreed`.
    """
    lock(holding.boat)
    part = holding.part
    whither = f" for job {job.number}" if job else ""
    if part.kept != Kept.COUNTED:
        return say_level(part, holding.place, Level.GONE, by=by, on=on, today=today, lot=holding.lot, job=job)
    if is_piece(holding):
        return _cut(holding, quantity, job, whither, by=by, on=on, today=today, agreed=agreed)
    mind_kept(holding, quantity, _those(job), today=today, agreed=agreed)
    said = f"Took {amount(part, quantity)} {part.name} from {holding.place.plate}{whither}."
    said += _below(part, holding.place, quantity, today)
    move = Move(part, Reason.USED, quantity, from_place=holding.place, lot=holding.lot, job=job)
    return record(holding.boat, EntryKind.TAKE, said, [move], by=by, on=on, today=today)


def _those(job: Job | None) -> tuple[Job, ...]:
    return () if job is None else (job,)


def _cut(
    holding: Holding,
    quantity: Decimal,
    job: Job | None,
    whither: str,
    *,
    by: Any,
    on: date,
    today: date,
    agreed: bool,
) -> Entry:
    fresh = Holding.objects.select_related("part", "lot", "place", "boat").get(pk=holding.pk)
    part = fresh.part
    taking = cutting(fresh, quantity, job)
    gone = sum((move.quantity for move in taking.moves), NIL)
    mind_kept(fresh, gone, _those(job), today=today, agreed=agreed)
    said = f"Cut {amount(part, quantity)} off {fresh.lot} of {part.name} in {fresh.place.plate}{whither}."
    said += taking.left or " That was the last of it."
    said += _below(part, fresh.place, gone, today)
    return record(fresh.boat, EntryKind.CUT, said, taking.moves, by=by, on=on, today=today)


@transaction.atomic
def put_in(
    part: Part,
    place: Location,
    quantity: Decimal,
    *,
    by: Any,
    on: date,
    today: date,
    serial: str = "",
    expires_on: date | None = None,
    pieces: int = 1,
) -> Entry:
    """Put something into a place. What is kept by level is said to be fine, or just here.

    What is kept in pieces goes in as so many pieces, each `quantity` long.
    """
    lock(part.boat)
    if Part.objects.filter(pk=part.pk, retired_at__isnull=False).exists():
        raise Refused(f"{part} is retired; take it into use again first.", code="retired", field="part")
    if part.in_pieces:
        facts = {"serial": serial, "expires_on": expires_on}
        return _put_pieces(part, place, quantity, pieces, facts, by=by, on=on, today=today)
    lot = lot_of(part, serial, expires_on)
    if part.kept == Kept.LEVEL:
        return say_level(part, place, Level.FINE, by=by, on=on, today=today, lot=lot)
    if part.kept == Kept.HERE:
        return say_level(part, place, Level.HERE, by=by, on=on, today=today, lot=lot)
    said = f"Put {amount(part, quantity)} {part.name} into {place.plate}."
    move = Move(part, Reason.OPENING, quantity, to_place=place, lot=lot)
    return record(part.boat, EntryKind.PUT_IN, said, [move], by=by, on=on, today=today)


def _put_pieces(
    part: Part,
    place: Location,
    length: Decimal,
    pieces: int,
    facts: dict[str, Any],
    *,
    by: Any,
    on: date,
    today: date,
) -> Entry:
    if not 1 <= pieces <= MOST_PIECES:
        raise Refused(f"Between 1 and {MOST_PIECES} pieces at a time.", code="pieces", field="pieces")
    lots = [new_lot(part, **facts) for _ in range(pieces)]
    moves = [Move(part, Reason.OPENING, length, to_place=place, lot=lot) for lot in lots]
    first, last = lots[0].number, lots[-1].number
    which = f"piece {first}" if pieces == 1 else f"pieces {first} to {last}"
    each = "" if pieces == 1 else " each"
    said = f"Put {which} of {part.name}, {amount(part, length)}{each}, into {place.plate}."
    return record(part.boat, EntryKind.PUT_IN, said, moves, by=by, on=on, today=today)


@transaction.atomic
def move_things(
    items: Sequence[tuple[Holding, Decimal | None]], to: Location, *, by: Any, on: date, today: date
) -> Entry:
    """Move things to another place; without a quantity, all that is there of each."""
    if not items:
        raise Refused("Tick what to move.", code="nothing", field="items")
    boat = items[0][0].boat
    lock(boat)
    moves: list[Move] = []
    for given, quantity in items:
        holding = Holding.objects.select_related("part", "lot", "place").get(pk=given.pk)
        if holding.place_id == to.pk:
            raise Refused(f"{holding.part} lies in {to.plate} already.", code="same_place", field="to")
        moves += _moves(holding, quantity, to)
    first = items[0][0].part.name
    what = first if len(items) == 1 else f"{len(items)} things"
    if len(items) == 1 and moves[0].quantity:
        what = f"{amount(items[0][0].part, moves[0].quantity)} {first}"
    said = f"Moved {what} to {to.plate}."
    return record(boat, EntryKind.MOVE, said, moves, by=by, on=on, today=today)


def _moves(holding: Holding, quantity: Decimal | None, to: Location) -> list[Move]:
    part, lot = holding.part, holding.lot
    if part.kept != Kept.COUNTED:
        there = Holding.objects.filter(part=part, lot=lot, place=to).first()
        moves = [Move(part, Reason.MOVED, to_place=holding.place, lot=lot, level=Level.NONE)]
        if there is None or there.level != holding.level:
            moves.append(Move(part, Reason.MOVED, to_place=to, lot=lot, level=holding.level))
        return moves
    how_many = holding.quantity if quantity is None else quantity
    if is_piece(holding) and how_many < holding.quantity:
        raise Refused(
            f"{str(lot).capitalize()} of {part} is {amount(part, holding.quantity)} long. Cut it first, or move all of it.",
            code="a_piece",
            field="quantity",
        )
    return [Move(part, Reason.MOVED, how_many, from_place=holding.place, to_place=to, lot=lot)]


@dataclass(frozen=True)
class Counted:
    """What a count found: of a holding that is known, or of a part that was not down for the place."""

    part: Part
    quantity: Decimal = NIL
    level: str | None = None
    lot: Lot | None = None


@transaction.atomic
def count(
    place: Location, found: Sequence[Counted], *, by: Any, on: date, today: date
) -> tuple[Entry, list[Holding]]:
    """Write down what lies in a place; return the deed and what was not touched (it stays as it is).

    Differences become movements. With no difference the deed still says that the place was counted.
    """
    lock(place.boat)
    held = {
        (holding.part_id, holding.lot_id): holding
        for holding in Holding.objects.filter(place=place).select_related("part", "lot")
    }
    moves: list[Move] = []
    touched: set[tuple[int, int | None]] = set()
    for row in found:
        if row.part.in_pieces and row.lot is None and (row.part.pk, None) not in held and row.quantity > 0:
            row = replace(row, lot=new_lot(row.part))
        key = (row.part.pk, row.lot.pk if row.lot else None)
        if key in touched:
            raise Refused(f"{row.part} is there twice; give it once.", code="twice")
        touched.add(key)
        moves += _difference(row, held.get(key), place)
    left = [h for key, h in held.items() if key not in touched and (h.quantity > 0 or h.level)]
    changes = "no difference" if not moves else f"{len(moves)} corrected"
    named = f" Not touched: {', '.join(h.part.name for h in left)}." if left else ""
    said = f"Counted {place.plate}: {len(touched)} looked at, {changes}.{named}"
    entry = record(place.boat, EntryKind.COUNT, said, moves, by=by, on=on, today=today)
    _check_day(place, on, today)
    Count.objects.create(boat=place.boat, place=place, entry=entry, counted_on=on)
    return entry, left


def _check_day(place: Location, on: date, today: date) -> None:
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="on")
    if not Location.objects.get(pk=place.pk).holds_things:
        raise Refused(f"{place} cannot be counted; it is out of use or an area.", code="place")
    day = reading.last_counted(place)
    if day and on < day:
        raise Refused(
            f"{place.plate} was counted on {day:%-d %b %Y} already.", code="before_count", field="on"
        )


def _difference(row: Counted, holding: Holding | None, place: Location) -> list[Move]:
    part = row.part
    if part.kept != Kept.COUNTED:
        level = row.level or (Level.FINE if part.kept == Kept.LEVEL else Level.HERE)
        if (holding.level if holding else "") == level:
            return []
        return [Move(part, Reason.LEVEL, to_place=place, lot=row.lot, level=level)]
    if row.quantity < 0:
        raise Refused("Nil or more.", code="negative", field="quantity")
    there = holding.quantity if holding else NIL
    more = row.quantity - there
    if more > 0:
        return [Move(part, Reason.FOUND, more, to_place=place, lot=row.lot)]
    if more < 0:
        return [Move(part, Reason.LOST, -more, from_place=place, lot=row.lot)]
    return []


@transaction.atomic
def correct_and_take(
    holding: Holding,
    there: Decimal,
    quantity: Decimal,
    *,
    by: Any,
    on: date,
    today: date,
    job: Job | None = None,
    agreed: bool = False,
) -> Entry:
    """There were more than the ledger had: say how many there were, and take some. One deed, one undo."""
    lock(holding.boat)
    fresh = Holding.objects.select_related("part", "lot", "place").get(pk=holding.pk)
    part, place = fresh.part, fresh.place
    if there < quantity:
        raise Refused(
            f"You cannot take {amount(part, quantity)} of {amount(part, there)}.", code="more_than_there"
        )
    more = there - fresh.quantity
    mind_kept(fresh, quantity, _those(job), today=today, agreed=agreed, more=more)
    moves: list[Move] = []
    if more > 0:
        moves.append(Move(part, Reason.FOUND, more, to_place=place, lot=fresh.lot))
    elif more < 0:
        moves.append(Move(part, Reason.LOST, -more, from_place=place, lot=fresh.lot))
    moves.append(Move(part, Reason.USED, quantity, from_place=place, lot=fresh.lot, job=job))
    whither = f" for job {job.number}" if job else ""
    said = f"Corrected {part.name} in {place.plate} to {amount(part, there)}, and took {amount(part, quantity)}{whither}."
    return record(part.boat, EntryKind.CORRECT, said, moves, by=by, on=on, today=today)


@transaction.atomic
def not_there(holding: Holding, *, by: Any, on: date, today: date) -> Entry:
    """Say that a thing isn't where the ledger has it: it counts to nil and stands on the Missing list."""
    lock(holding.boat)
    fresh = Holding.objects.select_related("part", "lot", "place").get(pk=holding.pk)
    part, place, quantity = fresh.part, fresh.place, fresh.quantity
    if part.kept != Kept.COUNTED:
        move = Move(part, Reason.LOST, to_place=place, lot=fresh.lot, level=Level.GONE)
    elif quantity <= 0:
        raise Refused(f"There is no {part.name} down for {place.plate}.", code="nothing")
    else:
        move = Move(part, Reason.LOST, quantity, from_place=place, lot=fresh.lot)
    said = f"{part.name} is not in {place.plate}; it stands on the Missing list."
    entry = record(part.boat, EntryKind.MISSING, said, [move], by=by, on=on, today=today)
    Missing.objects.create(boat=part.boat, entry=entry, part=part, place=place, quantity=quantity)
    return entry


@transaction.atomic
def found_again(missing: Missing) -> Missing:
    """Take a thing off the Missing list: it was found, or is given up."""
    lock(missing.boat)
    fresh = Missing.objects.get(pk=missing.pk)
    fresh.closed_at = timezone.now()
    fresh.save(update_fields=["closed_at"])
    return fresh


@transaction.atomic
def missed_again(missing: Missing) -> Missing:
    """Put a thing back on the Missing list (undo of taking it off)."""
    lock(missing.boat)
    fresh = Missing.objects.get(pk=missing.pk)
    fresh.closed_at = None
    fresh.save(update_fields=["closed_at"])
    return fresh


@transaction.atomic
def say_level(
    part: Part,
    place: Location,
    level: str,
    *,
    by: Any,
    on: date,
    today: date,
    lot: Lot | None = None,
    job: Job | None = None,
) -> Entry:
    """Say of a part kept by level (or just here) that it is fine, low, gone or here."""
    lock(part.boat)
    allowed = {
        Kept.LEVEL: (Level.FINE, Level.LOW, Level.GONE),
        Kept.HERE: (Level.HERE, Level.GONE),
    }.get(Kept(part.kept), ())
    if level not in allowed:
        raise Refused(f"{part} is counted; type how many there are.", code="counted")
    move = Move(part, Reason.LEVEL, to_place=place, lot=lot, level=level, job=job)
    said = f"{part.name} in {place.plate}: {level}."
    return record(part.boat, EntryKind.LEVEL, said, [move], by=by, on=on, today=today)


@transaction.atomic
def retire_place(
    place: Location, contents_to: Location | None, *, by: Any, on: date, today: date
) -> Entry | None:
    """Take a place out of use, moving what lies in it first; return the move, if there was one."""
    lock(place.boat)
    inside = list(Holding.objects.there().filter(place=place).select_related("part", "lot", "place"))
    if inside and contents_to is None:
        raise Refused(
            f"{len(inside)} things lie in {place.plate}. Say where they go.",
            code="not_empty",
            field="contents_to",
        )
    entry = None
    if inside and contents_to is not None:
        entry = move_things([(h, None) for h in inside], contents_to, by=by, on=on, today=today)
    retire_empty(place, contents_to)
    return entry


@transaction.atomic
def unretire_place(place: Location, entry: Entry | None, *, by: Any, today: date) -> None:
    """Take a place into use again and move its things back (undo of retiring)."""
    lock(place.boat)
    use_again(place)
    if entry is not None:
        undo(entry, by=by, today=today)


def lot_of(part: Part, serial: str, expires_on: date | None) -> Lot | None:
    """Return the part's batch with this serial and date, making it if need be; none if neither is given.

    What is kept in pieces makes a new piece each time.
    """
    if part.in_pieces:
        return new_lot(part, serial=serial, expires_on=expires_on)
    if not serial and expires_on is None:
        return None
    lot, _ = Lot.objects.get_or_create(boat=part.boat, part=part, serial=serial, expires_on=expires_on)
    return lot


def _below(part: Part, place: Location, quantity: Decimal, today: date) -> str:
    if part.minimum <= 0:
        return ""
    left = reading.usable_aboard(part, today) - (quantity if place.where == "aboard" else NIL)
    if left >= part.minimum or left < 0:
        return ""
    return f" That leaves {amount(part, left)} aboard, below {amount(part, part.minimum)}."
