"""Writing in the ledger: the one way a holding changes.

Decides that nothing goes below nil, that a day lies between the place's last count and today, and that a deed is
undone at most once. What the deed is for, the callers decide. Locks: the boat, then the parts by id.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Sum

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, Location
from refit.boat.refusals import Refused
from refit.calc.numbers import format_quantity
from refit.stores.models import (
    DOCUMENTED,
    Count,
    Entry,
    EntryKind,
    Holding,
    Kept,
    Level,
    Lot,
    Missing,
    Movement,
    Part,
    Reason,
    SetAside,
)
from refit.work.models import Job

NIL = Decimal(0)
LIMIT = Decimal(10) ** 6


@dataclass(frozen=True)
class Move:
    """One movement to be: from a place, to a place, or a level said of `to_place`."""

    part: Part
    reason: str
    quantity: Decimal = NIL
    from_place: Location | None = None
    to_place: Location | None = None
    lot: Lot | None = None
    job: Job | None = None
    level: str | None = None
    reverses: Movement | None = field(default=None, compare=False)


@transaction.atomic
def record(
    boat: Boat,
    kind: str,
    said: str,
    moves: Sequence[Move],
    *,
    by: Any,
    on: date,
    today: date,
    undoes: Entry | None = None,
) -> Entry:
    """Write one deed with its movements, and bring the holdings along."""
    lock(boat)
    parts = {
        part.pk: part
        for part in Part.objects.select_for_update(no_key=True)
        .filter(boat=boat, pk__in={move.part.pk for move in moves})
        .order_by("pk")
    }
    for move in moves:
        if move.part.pk not in parts:
            raise Refused("There is no such part on this boat.", code="no_part", field="part")
    if undoes is None:
        _check_places(boat, moves, on, today)
    else:
        _check_back_into_use(boat, moves)
    entry = Entry.objects.create(boat=boat, kind=kind, said=said[:300], happened_on=on, by=by, undoes=undoes)
    held = _holdings(boat, parts)
    rows = []
    for move in moves:
        before, after = _apply(boat, parts[move.part.pk], move, held)
        rows.append(
            Movement(
                boat=boat,
                entry=entry,
                part=move.part,
                lot=move.lot,
                from_place=move.from_place,
                to_place=move.to_place,
                quantity=move.quantity,
                level_before=before,
                level_after=after,
                reason=move.reason,
                job=move.job,
                reverses=move.reverses,
            )
        )
    Movement.objects.bulk_create(rows)
    _check_set_aside(held)
    changed = [holding for holding in held.values() if getattr(holding, "touched", False)]
    Holding.objects.bulk_create([holding for holding in changed if holding.pk is None])
    Holding.objects.bulk_update(
        [h for h in changed if h.pk is not None], ["quantity", "level"], batch_size=400
    )
    return entry


@transaction.atomic
def undo(entry: Entry, *, by: Any, today: date) -> Entry:
    """Write the reverse of a deed, once. A deed with a document is undone by that document's own action."""
    if entry.kind in DOCUMENTED:
        raise Refused("This belongs to an order; undo it there.", code="documented")
    return reverse(entry, by=by, today=today)


@transaction.atomic
def reverse(entry: Entry, *, by: Any, today: date) -> Entry:
    """Write the reverse of any deed. For the action of the document that it belongs to, and for `undo`."""
    lock(entry.boat)
    if entry.kind == EntryKind.UNDO:
        raise Refused("This undid something; do the thing itself again instead.", code="undo_of_undo")
    if Entry.objects.filter(undoes=entry).exists():
        raise Refused("This has been undone already.", code="undone_already")
    moves = [
        Move(
            part=movement.part,
            reason=Reason.UNDONE,
            quantity=movement.quantity,
            from_place=movement.to_place if movement.quantity else None,
            to_place=movement.from_place if movement.quantity else movement.to_place,
            lot=movement.lot,
            job=movement.job,
            level=None if movement.quantity else movement.level_before,
            reverses=movement,
        )
        for movement in entry.movements.select_related("part", "lot", "from_place", "to_place", "job")
    ]
    undone = record(
        entry.boat,
        EntryKind.UNDO,
        f"Undone: {entry.said.partition(' That leaves ')[0]}",  # what is left is no longer so
        moves,
        by=by,
        on=entry.happened_on,
        today=today,
        undoes=entry,
    )
    Missing.objects.filter(entry=entry).delete()
    return undone


def last_counted(boat: Boat, places: Iterable[int]) -> dict[int, date]:
    """Return, for each place that was ever counted, the day of its last count that stands."""
    found: dict[int, date] = {}
    counts = Count.objects.filter(boat=boat, place_id__in=list(places), entry__undone_by=None)
    for place_id, day in counts.order_by("counted_on").values_list("place_id", "counted_on"):
        found[place_id] = day
    return found


def _check_places(boat: Boat, moves: Sequence[Move], on: date, today: date) -> None:
    """Refuse places out of use, days to come, and days before the place was last counted."""
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="on")
    if on.year < 1950:
        raise Refused(f"{on} is too long ago.", code="too_early", field="on")
    ids = {place.pk for move in moves for place in (move.from_place, move.to_place) if place}
    fresh = {place.pk: place for place in Location.objects.filter(boat=boat, pk__in=ids)}
    for pk in ids:
        if pk not in fresh:
            raise Refused("There is no such place on this boat.", code="no_place")
        place = fresh[pk]
        if not place.holds_things:
            why = "is no longer in use" if place.retired_at else "is an area"
            raise Refused(f"{place} {why}; choose a locker, box or bag.", code="place", field="place")
    for pk, day in last_counted(boat, ids).items():
        if on < day:
            raise Refused(
                f"{fresh[pk]} was counted on {day:%-d %b %Y}; nothing earlier can be written down for it.",
                code="before_count",
                field="on",
            )


def _check_back_into_use(boat: Boat, moves: Sequence[Move]) -> None:
    """Refuse to put things back into a place that has been taken out of use since: nobody would look there."""
    ids = {move.to_place.pk for move in moves if move.to_place and (move.quantity or move.level)}
    retired = Location.objects.filter(boat=boat, pk__in=ids, retired_at__isnull=False).first()
    if retired is not None:
        raise Refused(f"{retired} is no longer in use; take it into use again first.", code="place")


def _check_set_aside(held: "dict[Key, Holding]") -> None:
    """Refuse to use what lies aside, such as goods that go back."""
    fewer = {h.pk: h for h in held.values() if h.pk and getattr(h, "touched", False)}
    sums = (
        SetAside.objects.filter(holding__in=list(fewer), closed_at=None)
        .order_by()
        .values_list("holding_id")
        .annotate(total=Sum("quantity"))
    )
    for pk, total in sums:
        holding = fewer[pk]
        if holding.quantity < total:
            raise Refused(
                f"{format_quantity(total)} of {holding.part} in {holding.place} lies aside and may not be used: "
                "it goes back.",
                code="set_aside",
                field="quantity",
            )


Key = tuple[int, int | None, int]


def _holdings(boat: Boat, parts: dict[int, Part]) -> dict[Key, Holding]:
    return {
        (holding.part_id, holding.lot_id, holding.place_id): holding
        for holding in Holding.objects.filter(boat=boat, part_id__in=list(parts)).select_related("place")
    }


def _holding(boat: Boat, move: Move, place: Location, held: dict[Key, Holding]) -> Holding:
    key = (move.part.pk, move.lot.pk if move.lot else None, place.pk)
    if key not in held:
        held[key] = Holding(boat=boat, part=move.part, lot=move.lot, place=place)
    holding = held[key]
    holding.touched = True  # type: ignore[attr-defined]
    return holding


def _apply(boat: Boat, part: Part, move: Move, held: dict[Key, Holding]) -> tuple[str, str]:
    """Bring the holdings along; return the level before and after where the move says a level."""
    if move.level is not None:
        if move.to_place is None:
            raise Refused("Say where.", code="place", field="place")
        holding = _holding(boat, move, move.to_place, held)
        before, holding.level = holding.level, Level(move.level)
        if move.reverses is not None and before != move.reverses.level_after:
            raise Refused(
                f"{part} has been said to be {before or 'not there'} since; undo that first.",
                code="said_since",
            )
        if before == holding.level:
            raise Refused(f"{part} is down as {before or 'not there'} already.", code="same_level")
        return before, holding.level
    if part.kept != Kept.COUNTED and move.reverses is None:
        raise Refused(f"{part} is not counted; say whether it is fine, low or gone.", code="not_counted")
    if move.quantity <= 0:
        raise Refused("How many? Type a number above nil.", code="nothing", field="quantity")
    if move.quantity >= LIMIT:
        raise Refused("A quantity stays below a million.", code="too_large", field="quantity")
    if move.from_place is not None:
        source = _holding(boat, move, move.from_place, held)
        if source.quantity < move.quantity:
            _refuse_more(part, move, source)
        source.quantity -= move.quantity
    if move.to_place is not None:
        target = _holding(boat, move, move.to_place, held)
        target.quantity += move.quantity
        if target.quantity >= LIMIT:
            raise Refused("A quantity stays below a million.", code="too_large", field="quantity")
    return "", ""


def _refuse_more(part: Part, move: Move, source: Holding) -> None:
    there = f"{format_quantity(source.quantity)} {part.get_unit_display()}".replace(" each", "")
    if move.reverses is not None:
        raise Refused(
            f"Only {there} of {part} is left in {source.place}: some was taken since. Undo that first.",
            code="taken_since",
        )
    raise Refused(
        f"There is {there} of {part} in {source.place}, not {format_quantity(move.quantity)}.",
        code="more_than_there",
        field="quantity",
    )
