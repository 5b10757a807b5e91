"""Places: adding, changing and moving them. Retiring one that holds things is a matter of the stores."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone

from refit.boat.actions.labels import bind, mint
from refit.boat.models import Boat, Hindrance, Kind, Label, Location, PlaceCaution
from refit.boat.refusals import Refused
from refit.calc.text import expand_marks, fold

DEEPEST = 8


@transaction.atomic
def add_place(
    boat: Boat,
    *,
    kind: str,
    parent: Location | None,
    mark: str = "",
    name: str = "",
    label: Label | None = None,
    **facts: Any,
) -> Location:
    """Add a place with a label of its own: the blank one given, or a new one."""
    Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)
    parent = Location.objects.get(pk=parent.pk) if parent else None
    if kind == Kind.UNSTOWED:
        raise Refused("A boat has one place for what is not stowed yet.", code="kind", field="kind")
    if kind == Kind.AREA and parent:
        raise Refused("An area stands by itself, in no other place.", code="parent", field="parent")
    if kind != Kind.AREA and parent is None:
        raise Refused("Say which area or locker it is in.", code="parent", field="parent")
    _check_parent(parent)
    _check_mark(boat, mark, None)
    if label is not None and label.location_id:
        raise Refused(f"Label {label.code} is in use already, for {label.location}.", code="in_use")
    used = label or mint(boat, 1)[0]
    place = Location(boat=boat, kind=kind, parent=parent, mark=mark, name=name, code=used.code, **facts)
    if parent:
        place.area = parent.area or parent
        place.where, place.days_away = parent.where, parent.days_away
    place.save()
    bind(used, place)
    return place


@transaction.atomic
def add_places(boat: Boat, quick_list: str, area: Location) -> list[Location]:
    """Add lockers by the quick list (`P1-P6, S1-S6, Forepeak`) to an area."""
    try:
        pairs = expand_marks(quick_list)
    except ValueError as problem:
        raise Refused(str(problem), code="quick_list", field="quick_list") from None
    taken = {
        fold(mark)
        for mark in Location.objects.filter(boat=boat).in_use().values_list("mark", flat=True)  # type: ignore[attr-defined]
    }
    made = []
    for mark, name in pairs:
        free, count = mark, 2
        while name and fold(free) in taken:  # a mark that was made from a name may give way
            free, count = f"{mark}{count}", count + 1
        taken.add(fold(free))
        made.append(add_place(boat, kind=Kind.LOCKER, parent=area, mark=free, name=name))
    return made


@transaction.atomic
def change_place(place: Location, *, mark: str, name: str, **facts: Any) -> Location:
    """Change a place's mark, name, note or (for an area) whereabouts."""
    Boat.objects.select_for_update(no_key=True).get(pk=place.boat_id)
    fresh = Location.objects.get(pk=place.pk)
    _check_mark(fresh.boat, mark, fresh)
    if not mark and not name:
        raise Refused("Give it a mark or a name.", code="unnamed", field="name")
    fresh.mark, fresh.name = mark, name
    for key, value in facts.items():
        setattr(fresh, key, value)
    fresh.save()
    if fresh.kind == Kind.AREA:
        Location.objects.filter(area=fresh).update(where=fresh.where, days_away=fresh.days_away)
    return fresh


@transaction.atomic
def move_place(place: Location, parent: Location) -> Location:
    """Move a box, bag or locker with all that is in it; never into itself."""
    Boat.objects.select_for_update(no_key=True).get(pk=place.boat_id)
    fresh = Location.objects.get(pk=place.pk)
    target = Location.objects.get(pk=parent.pk)
    if fresh.kind in (Kind.AREA, Kind.UNSTOWED):
        raise Refused(f"{fresh} cannot be moved into another place.", code="kind")
    inside = _descendants(fresh)
    if target.pk == fresh.pk or target.pk in {child.pk for child in inside}:
        raise Refused(f"{fresh} cannot be moved into itself.", code="into_itself", field="parent")
    _check_parent(target)
    fresh.parent = target
    fresh.area = target.area or target
    fresh.where, fresh.days_away = target.where, target.days_away
    fresh.save()
    Location.objects.filter(pk__in=[child.pk for child in inside]).update(
        area=fresh.area, where=fresh.where, days_away=fresh.days_away
    )
    return fresh


@transaction.atomic
def retire_empty(place: Location, went_to: Location | None) -> Location:
    """Take an empty place out of use. Its code is never used again, and tells where its things went."""
    Boat.objects.select_for_update(no_key=True).get(pk=place.boat_id)
    fresh = Location.objects.get(pk=place.pk)
    if fresh.kind == Kind.UNSTOWED:
        raise Refused("The place for what is not stowed yet always stays.", code="kind")
    if fresh.retired_at:
        raise Refused(f"{fresh} is no longer in use already.", code="retired")
    if Location.objects.filter(parent=fresh, retired_at=None).exists():
        raise Refused(f"Move the boxes and places in {fresh} first.", code="not_empty")
    fresh.retired_at = timezone.now()
    fresh.went_to = went_to
    fresh.save()
    return fresh


@transaction.atomic
def use_again(place: Location) -> Location:
    """Take a retired place into use again (undo of retiring)."""
    Boat.objects.select_for_update(no_key=True).get(pk=place.boat_id)
    fresh = Location.objects.get(pk=place.pk)
    _check_mark(fresh.boat, fresh.mark, fresh)
    _check_parent(fresh.parent)
    fresh.retired_at = None
    fresh.went_to = None
    fresh.save()
    return fresh


@transaction.atomic
def set_cautions(place: Location, cautions: Sequence[tuple[str, str]]) -> None:
    """Set what must stay reachable in or behind a place, as kind and words."""
    PlaceCaution.objects.filter(location=place).delete()
    for kind, words in cautions:
        PlaceCaution.objects.create(boat_id=place.boat_id, location=place, kind=Hindrance(kind), words=words)


def _descendants(place: Location) -> list[Location]:
    """Return every place inside this one, at any depth."""
    children: dict[int | None, list[Location]] = {}
    for other in Location.objects.filter(boat_id=place.boat_id):
        children.setdefault(other.parent_id, []).append(other)
    found: list[Location] = []
    queue = list(children.get(place.pk, []))
    while queue:
        child = queue.pop()
        found.append(child)
        queue += children.get(child.pk, [])
    return found


def _check_parent(parent: Location | None) -> None:
    if parent is None:
        return
    if parent.retired_at:
        raise Refused(f"{parent} is no longer in use; choose another place.", code="retired", field="parent")
    if parent.kind == Kind.UNSTOWED:
        raise Refused("Nothing is kept inside Not stowed yet; choose an area.", code="parent", field="parent")
    depth, above = 1, parent.parent
    while above is not None:
        depth, above = depth + 1, above.parent
    if depth >= DEEPEST:
        raise Refused(f"At most {DEEPEST} places inside one another.", code="too_deep", field="parent")


def _check_mark(boat: Boat, mark: str, place: Location | None) -> None:
    if not mark:
        return
    if len(mark) > 12:
        raise Refused(
            f"A mark has at most 12 characters; {mark} has {len(mark)}.", code="too_long", field="mark"
        )
    same = Location.objects.filter(boat=boat, retired_at=None, mark_folded=fold(mark))
    if place is not None:
        same = same.exclude(pk=place.pk)
    other = same.first()
    if other:
        raise Refused(
            f"{mark} is in use already, for {other.name or other.mark}.", code="taken", field="mark"
        )
