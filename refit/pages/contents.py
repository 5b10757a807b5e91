"""What the page of a place shows: what lies there and in its boxes, marked, and with the jobs that want it.

Decides what is marked and in what order it stands. Reads within what the member may see, in a number of queries
that does not grow with what lies there. Changes nothing.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from refit.boat.models import Kind, Location, Member, PlaceCaution
from refit.buying.models import COMING_STATES, Line
from refit.calc import cautions
from refit.calc.numbers import format_quantity
from refit.pages import seeing
from refit.stores import reading
from refit.stores.actions.pieces import is_piece
from refit.stores.kept import Kept as KeptFor
from refit.stores.kept import kept_for
from refit.stores.models import (
    GOOD_CONDITIONS,
    Holding,
    Kept,
    KitContent,
    Level,
    Movement,
    Need,
    Reason,
    Unit,
)
from refit.stores.models import Count as Counted
from refit.work.models import Job

SOON = timedelta(days=60)
NIL = Decimal(0)
# What is measured off has no usual amount; of the rest one takes one.
MEASURED = (Unit.METRE, Unit.KILOGRAM, Unit.LITRE, Unit.HOUR)
SAID = {Kept.LEVEL: (Level.FINE, Level.LOW, Level.GONE), Kept.HERE: (Level.HERE, Level.GONE)}


@dataclass(frozen=True)
class Wish:
    """A job that wants a part, and how much of it has not been taken yet."""

    job: Job
    quantity: Decimal


@dataclass
class Row:
    """One thing that lies in a place, with its marks and the jobs that want it."""

    holding: Holding
    late: str = ""
    soon: str = ""
    below: str = ""
    aside: Decimal = NIL  # goes back: it lies here and may not be used
    wishes: list[Wish] = field(default_factory=list)
    kept: list[KeptFor] = field(
        default_factory=list
    )  # for which jobs so much of it is kept, here or elsewhere
    is_kit: bool = False

    @property
    def piece(self) -> bool:
        """Return whether it is one piece with a length, to be cut."""
        return is_piece(self.holding)

    @property
    def counted(self) -> bool:
        return self.holding.part.kept == Kept.COUNTED

    @property
    def gone(self) -> bool:
        return self.holding.level == Level.GONE

    @property
    def start(self) -> str:
        """Return the amount that the take form begins with."""
        return "" if self.holding.part.unit in MEASURED else "1"

    @property
    def levels(self) -> list[str]:
        """Return what may be said of it now, other than what is said already."""
        said = SAID.get(Kept(self.holding.part.kept), ())
        return [str(level) for level in said if level != self.holding.level]


@dataclass
class Group:
    """One place on the page, and what lies in it."""

    place: Location
    rows: list[Row] = field(default_factory=list)


@dataclass(frozen=True)
class Care:
    """One sentence of caution, and the place it belongs to where that is not the page's own."""

    head: str
    words: str
    place: Location | None = None
    note: str = ""


@dataclass
class PlacePage:
    """All that the page of a place shows."""

    place: Location
    path: list[Location]
    groups: list[Group]
    inside: list[Location]
    cares: list[Care]
    apart: list[Care]
    coming: list[Line]
    counted_on: date | None = None
    unstowed: Location | None = None

    @property
    def things(self) -> int:
        return sum(len(group.rows) for group in self.groups)

    @property
    def movable(self) -> bool:
        return any(not row.gone for group in self.groups for row in group.rows)


def with_figures(places: "QuerySet[Location]", held: "QuerySet[Holding]") -> "QuerySet[Location]":
    """Return the places with how many things lie in each (`things`) and the day of the last count (`counted_on`)."""
    there = (
        held.filter(place=OuterRef("pk"))
        .order_by()
        .values("place")
        .annotate(number=Count("pk"))
        .values("number")
    )
    counts = Counted.objects.filter(place=OuterRef("pk"), entry__undone_by=None).order_by("-counted_on")
    return places.annotate(
        things=Coalesce(Subquery(there), 0), counted_on=Subquery(counts.values("counted_on")[:1])
    )


def place_page(member: Member, place: Location, today: date) -> PlacePage:
    """Return what the page of this place shows to this member."""
    family = _family(member, place)
    here = family.get(place.pk, place)
    inside = below(place.pk, family.values())
    rows = _rows(member, [here, *inside], today)
    groups = [Group(spot, rows[spot.pk]) for spot in [here, *inside]]
    return PlacePage(
        place=place,
        path=_path(place, family),
        groups=[
            group for group in groups if group.rows or (group.place.pk == place.pk and place.holds_things)
        ],
        inside=inside,
        cares=_place_cares(place, inside),
        apart=_stow_apart(place, groups),
        coming=_coming(member, [here, *inside]),
        counted_on=getattr(here, "counted_on", None),
        unstowed=next((spot for spot in family.values() if spot.kind == Kind.UNSTOWED), None),
    )


def below(pk: int, places: Iterable[Location]) -> list[Location]:
    """Return the places inside a place at any depth, each before what is in it, in the order given."""
    children: dict[int | None, list[Location]] = defaultdict(list)
    for place in places:
        children[place.parent_id].append(place)
    found: list[Location] = []
    queue = list(children[pk])
    while queue:
        child = queue.pop(0)
        found.append(child)
        queue = children[child.pk] + queue
    return found


def wishes(member: Member, parts: Iterable[int]) -> dict[int, list[Wish]]:
    """Return the open jobs that want these parts, with what is still to take for each; in one query."""
    taken = (
        Movement.objects.filter(job=OuterRef("job"), part=OuterRef("part"))
        .order_by()
        .values("job")
        .annotate(total=Sum("quantity"))
        .values("total")
    )
    needs = (
        Need.objects.open()
        .filter(part_id__in=list(parts), job__in=seeing.jobs(member).open())  # type: ignore[attr-defined]
        .select_related("job")
        .annotate(used=Subquery(taken.filter(reason=Reason.USED)))
        .annotate(undone=Subquery(taken.filter(reason=Reason.UNDONE, reverses__reason=Reason.USED)))
        .order_by("job__number", "id")
    )
    found: dict[int, dict[int, Wish]] = defaultdict(dict)
    used_up: dict[tuple[int, int], Decimal] = {}
    for need in needs:
        part, key = need.part_id or 0, (need.job_id, need.part_id or 0)
        left = used_up.setdefault(key, _sum(need, "used") - _sum(need, "undone"))
        met = min(need.quantity, left)
        used_up[key] = left - met
        if need.quantity > met:
            before = found[part].get(need.job_id)
            found[part][need.job_id] = Wish(
                need.job, need.quantity - met + (before.quantity if before else NIL)
            )
    return {part: list(by_job.values()) for part, by_job in found.items()}


def _sum(row: Any, name: str) -> Decimal:
    """Return a sum that a query gave a row; nil where there was nothing to sum."""
    return getattr(row, name) or NIL


def _family(member: Member, place: Location) -> dict[int, Location]:
    """Return the places of the same area (those in use, and this one), and the place for what is not stowed."""
    area = place.area_id or place.pk
    near = Q(area=area) | Q(pk=area) | Q(kind=Kind.UNSTOWED)
    spots = seeing.places(member).filter(near).filter(Q(retired_at=None) | Q(pk=place.pk)).by_mark()  # type: ignore[attr-defined]
    return {spot.pk: spot for spot in with_figures(spots, seeing.holdings(member))}


def _path(place: Location, family: dict[int, Location]) -> list[Location]:
    """Return the places that this one is in, the area first."""
    found: list[Location] = []
    above = family.get(place.parent_id or 0)
    while above is not None:
        found.insert(0, above)
        above = family.get(above.parent_id or 0)
    if not found and place.area and place.area_id != place.pk:
        found = [place.area]
    return found


def lying(member: Member, places: Iterable[Location]) -> "QuerySet[Any]":
    """Return what lies in these places, and what is kept by level there and said to be gone."""
    there = Q(quantity__gt=0) | ~Q(level__in=["", Level.GONE])
    gone = Q(level=Level.GONE, part__kept=Kept.LEVEL, part__retired_at=None)
    held = Holding.objects.filter(
        there | gone, boat_id=member.boat_id, place__in=[spot.pk for spot in places]
    )
    if not seeing.sees_all(member):
        held = held.filter(part__in=seeing.parts(member).values("pk"))
    kit = Exists(KitContent.objects.filter(kit=OuterRef("part")))
    return (
        reading.with_aside(held)
        .annotate(is_kit=kit)
        .select_related("part", "lot")
        .order_by("part__name", F("lot__expires_on").asc(nulls_last=True), "id")
    )


def _rows(member: Member, places: list[Location], today: date) -> dict[int, list[Row]]:
    spots = {spot.pk: spot for spot in places}
    held = list(lying(member, places))
    wanted = wishes(member, {holding.part_id for holding in held})
    least = {holding.part_id for holding in held if holding.part.minimum > 0}
    aboard = reading.usable_aboard_of(least, today)
    kept = kept_for(member.boat, {holding.part_id for holding in held}) if held else {}
    rows: dict[int, list[Row]] = defaultdict(list)
    for holding in held:
        holding.place = spots[holding.place_id]
        row = Row(holding, aside=holding.aside, wishes=wanted.get(holding.part_id, []))
        row.is_kit = holding.is_kit
        row.kept = kept_here(holding, kept.get(holding.part_id, []), member)
        row.late, row.soon = expiry_words(holding, today)
        if holding.part_id in least and aboard.get(holding.part_id, NIL) < holding.part.minimum:
            row.below = f"below {format_quantity(holding.part.minimum)}"
        rows[holding.place_id].append(row)
    return rows


def kept_here(holding: Holding, kept: list[KeptFor], member: Member) -> list[KeptFor]:
    """Return what is kept of a part that may lie here: of a piece that is kept, only on that piece."""
    if holding.lot is not None and holding.lot.condition not in GOOD_CONDITIONS:
        return []
    return seen_kept([row for row in kept if row.lot_id in (None, holding.lot_id)], member)


def seen_kept(kept: list[KeptFor], member: Member) -> list[KeptFor]:
    """Return what is kept for jobs that the member may see."""
    return kept if seeing.sees_all(member) else [row for row in kept if row.job.given_to_id == member.pk]


def expiry_words(holding: Holding, today: date) -> tuple[str, str]:
    """Return what to say of a date that has passed, and of one that passes within 60 days."""
    runs_out = holding.lot.expires_on if holding.lot else None
    if runs_out is None:
        return "", ""
    if runs_out < today:
        return f"out of date since {runs_out:%-d %b %Y}", ""
    return "", f"runs out {runs_out:%-d %b %Y}" if runs_out <= today + SOON else ""


def _place_cares(place: Location, inside: list[Location]) -> list[Care]:
    spots = {spot.pk: spot for spot in [place, *inside]}
    found = []
    for caution in PlaceCaution.objects.filter(location__in=list(spots)).order_by("kind"):
        spot = spots[caution.location_id]
        found.append(
            Care(caution.head, caution.get_kind_display(), None if spot is place else spot, caution.words)
        )
    return found


def _stow_apart(place: Location, groups: list[Group]) -> list[Care]:
    """Return a caution for each pair of hazard classes in one locker that should stand apart."""
    lockers: dict[int, list[Group]] = defaultdict(list)
    spots = {group.place.pk: group.place for group in groups}
    for group in groups:
        lockers[_locker_of(group.place, place, spots).pk].append(group)
    found = []
    for pk, together in lockers.items():
        names: dict[str, list[str]] = defaultdict(list)
        for group in together:
            for row in group.rows:
                hazard, name = row.holding.part.hazard, row.holding.part.name
                if hazard and not row.gone and name not in names[hazard]:
                    names[hazard].append(name)
        for first, second in combinations(sorted(names), 2):
            if not _apart(first, second):
                continue
            who = f"{_named(names[first])} and {_named(names[second])}"
            spot = None if pk == place.pk else spots[pk]
            found.append(Care("Keep apart", cautions.caution(first, second), spot, who))
    return found


def _apart(first: str, second: str) -> bool:
    """Return whether two hazard classes are better kept apart; one that is not known is, until it is checked."""
    try:
        return cautions.segregation(first, second) != "X"
    except ValueError:
        return True


def _locker_of(spot: Location, page: Location, spots: dict[int, Location]) -> Location:
    """Return the locker whose air a place shares: on an area's page each of its lockers, else the page's own."""
    if page.kind != Kind.AREA:
        return page
    while spot.parent_id in spots and spot.parent_id != page.pk:
        spot = spots[spot.parent_id or 0]
    return spot


def _named(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


def _coming(member: Member, places: list[Location]) -> list[Line]:
    lines = Line.objects.filter(
        boat_id=member.boat_id, place__in=[spot.pk for spot in places], order__state__in=COMING_STATES
    )
    if not seeing.sees_all(member):
        lines = lines.filter(job__in=seeing.jobs(member).values("pk"))
    found = lines.select_related("order", "part", "job", "place").order_by("order__expected_on", "id")
    return [line for line in found if line.open_quantity > 0]
