"""The read-only copy of a boat for a phone: fills the book that `reports.copy` writes as one page.

Decides what is in it and in what order: places from bow to stern, then what is ashore and away; the jobs in hand
before the rest. It holds no prices and no people. Asks a number of questions that does not grow with the boat.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from refit.boat.clock import zone
from refit.boat.identity import identity
from refit.boat.models import Boat, Kind, Location, Member, PlaceCaution, Where
from refit.boat.refusals import Refused
from refit.boat.rights import RIGHTS, Right
from refit.boat.walk import walk
from refit.buying.fetching import FetchList, Line, fetch_lists
from refit.calc.numbers import format_quantity
from refit.reports.copy import (
    CopyBook,
    CopyFetch,
    CopyFetchRow,
    CopyHolding,
    CopyPart,
    CopyPlace,
    CopyTown,
)
from refit.stores.actions.pieces import is_piece
from refit.stores.amounts import amount
from refit.stores.models import GOOD_CONDITIONS, Holding, Lot, Part, PartNumber
from refit.stores.reading import with_aside
from refit.work.models import Job, State

FIRST = (State.IN_HAND, State.READY, State.PLANNED, State.WAITING)


def book(member: Member, at: datetime, town: Sequence[CopyTown] = ()) -> CopyBook:
    """Return what the copy of this member's boat holds, as at that moment.

    A trade sees the places and parts of its own jobs alone: it takes no copy of the whole boat.
    """
    if Right.SEE_ALL not in RIGHTS[member.role]:
        raise Refused("Only those who may see every place and part take a copy.", "not_all_seen")
    boat = member.boat
    here = at.astimezone(zone(boat))
    held = list(_holdings(boat))
    places = _places(boat, {holding.place_id for holding in held})
    parts = _parts(boat, {holding.part_id for holding in held})
    return CopyBook(
        identity=identity(boat),
        as_at=here,
        places=_told(boat, places),
        parts=tuple(parts),
        holdings=tuple(_holding(row) for row in held),
        fetch=_fetch(member, here),
        town=tuple(town),
    )


def _holdings(boat: Boat) -> Any:
    there = with_aside(Holding.objects.there()).filter(boat=boat).select_related("lot", "place")
    return there.order_by("part__name", "place__mark_sort", "lot__expires_on", "id")


def _places(boat: Boat, used: set[int]) -> list[Location]:
    """Return the places in use (and others that hold something), bow to stern, each box after what it is in."""
    found = [
        place
        for place in Location.objects.filter(boat=boat).select_related("area").by_mark()  # type: ignore[attr-defined]
        if place.kind != Kind.AREA and (place.retired_at is None or place.pk in used)
    ]
    inside: dict[int | None, list[Location]] = defaultdict(list)
    known = {place.pk for place in found}
    for place in found:
        inside[place.parent_id if place.parent_id in known else None].append(place)
    ordered: list[Location] = []
    queue = sorted(inside[None], key=walk)
    while queue:
        place = queue.pop(0)
        ordered.append(place)
        queue = inside[place.pk] + queue
    return ordered


def _told(boat: Boat, places: list[Location]) -> tuple[CopyPlace, ...]:
    cautions: dict[int, list[str]] = defaultdict(list)
    for caution in PlaceCaution.objects.filter(boat=boat).order_by("kind"):
        cautions[caution.location_id].append(_caution(caution))
    codes = {place.pk: place.code for place in places}
    return tuple(
        CopyPlace(
            code=place.code,
            mark=place.mark,
            name=place.name,
            area="" if place.kind == Kind.UNSTOWED else str(place.area or ""),
            where=_where(place),
            inside=codes.get(place.parent_id or 0, ""),
            note=place.note,
            cautions=tuple(cautions[place.pk]),
        )
        for place in places
    )


def _caution(caution: PlaceCaution) -> str:
    words = f" ({caution.words})" if caution.words else ""
    return f"{caution.head}: {caution.get_kind_display()}{words}"


def _where(place: Location) -> str:
    top = place.area or place
    if place.kind == Kind.UNSTOWED or top.where == Where.ABOARD:
        return ""
    days = f", {top.days_away} day{'' if top.days_away == 1 else 's'}" if top.days_away else ""
    return f"{top.get_where_display().lower()}{days}"


def _parts(boat: Boat, used: set[int]) -> list[CopyPart]:
    """Return the parts in use, and others that still lie somewhere."""
    numbers: dict[int, list[str]] = defaultdict(list)
    for number in PartNumber.objects.filter(boat=boat):
        numbers[number.part_id].append(str(number))
    return [
        CopyPart(part.pk, part.name, part.specification, tuple(numbers[part.pk]), _unit(part))
        for part in Part.objects.filter(boat=boat)
        if part.retired_at is None or part.pk in used
    ]


def _unit(part: Part) -> str:
    return "" if part.unit == "each" else str(part.get_unit_display())


def _holding(held: Any) -> CopyHolding:
    return CopyHolding(
        part=held.part_id,
        place=held.place.code,
        quantity="" if held.level else format_quantity(held.quantity),
        level=held.level,
        lot=_lot(held.lot),
        expires=held.lot.expires_on if held.lot else None,
        bad=_bad(held),
    )


def _lot(lot: Lot | None) -> str:
    if lot is None:
        return ""
    if lot.number is not None:
        return str(lot)
    return f"batch {lot.serial}" if lot.serial else ""


def _bad(held: Any) -> str:
    """Return why it may not be used, or some of it."""
    if held.lot and held.lot.condition not in GOOD_CONDITIONS:
        return str(held.lot.get_condition_display()).lower()
    return f"{format_quantity(held.aside)} going back, not usable" if held.aside else ""


def _fetch(member: Member, at: datetime) -> tuple[CopyFetch, ...]:
    """Return the fetch list of each open job that has something lying here; what is away is not fetched."""
    jobs = list(Job.objects.seen_by(member).open())
    lists = fetch_lists(member.boat, jobs, at.date())
    others = _asked_for(jobs, lists)
    jobs.sort(key=lambda job: (FIRST.index(State(job.state)), job.number))
    return tuple(
        CopyFetch(job.number, job.title, job.get_state_display().lower(), _rows(job, lists[job.pk], others))
        for job in jobs
        if lists[job.pk].stops
    )


def _rows(job: Job, found: FetchList, others: dict[int, list[int]]) -> tuple[CopyFetchRow, ...]:
    return tuple(
        CopyFetchRow(
            place=stop.place.code,
            part=line.part.pk,
            quantity="some" if line.quantity is None else amount(line.part, line.quantity),
            note=_note(job, line, others),
        )
        for stop in found.stops
        for line in stop.lines
    )


def _note(job: Job, line: Line, others: dict[int, list[int]]) -> str:
    rest = [str(number) for number in others.get(line.holding.pk, []) if number != job.number]
    also = f"job{'' if len(rest) == 1 else 's'} {', '.join(rest)} would take it too" if rest else ""
    cut = line.words if is_piece(line.holding) else ""
    return ", ".join(words for words in (cut, line.note, also) if words)


def _asked_for(jobs: list[Job], lists: dict[int, FetchList]) -> dict[int, list[int]]:
    """Return, for what does not reach for all the jobs that would take it, the numbers of these jobs."""
    asked: dict[int, Decimal] = defaultdict(Decimal)
    by: dict[int, list[int]] = defaultdict(list)
    there: dict[int, Decimal] = {}
    for job in jobs:
        for line in (line for stop in lists[job.pk].stops for line in stop.lines):
            held = line.holding
            asked[held.pk] += line.quantity or 0
            there[held.pk] = held.quantity - getattr(held, "aside", Decimal(0))
            if job.number not in by[held.pk]:
                by[held.pk].append(job.number)
    return {pk: numbers for pk, numbers in by.items() if asked[pk] > there[pk]}
