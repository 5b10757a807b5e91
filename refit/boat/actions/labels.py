"""Labels: minting codes, giving a blank label a place, swapping two that were stuck the wrong way round."""

import secrets
from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from refit.boat.models import Boat, Label, Location
from refit.boat.refusals import Refused
from refit.calc import codes


@transaction.atomic
def mint(boat: Boat, how_many: int) -> list[Label]:
    """Make blank labels with new codes; a code once minted is never minted again for this boat."""
    if not 1 <= how_many <= 2000:
        raise Refused("Between 1 and 2,000 labels at a time.", code="how_many", field="how_many")
    Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)
    taken = set(Label.objects.filter(boat=boat).values_list("code", flat=True))
    made = []
    for _ in range(how_many):
        code = codes.mint(secrets.randbelow, taken, codes.payload_length_for(len(taken)))
        taken.add(code)
        made.append(Label(boat=boat, code=code))
    return Label.objects.bulk_create(made)


@transaction.atomic
def bind(label: Label, place: Location) -> Label:
    """Give a blank label to a place. The place's earlier label still leads there."""
    Boat.objects.select_for_update(no_key=True).get(pk=label.boat_id)
    fresh = Label.objects.get(pk=label.pk)
    there = Location.objects.get(pk=place.pk)
    if fresh.location_id and fresh.location_id != there.pk:
        raise Refused(f"Label {fresh.code} is in use already, for {fresh.location}.", code="in_use")
    if there.retired_at:
        raise Refused(f"{there} is no longer in use; choose another place.", code="retired")
    fresh.location = there
    fresh.save(update_fields=["location"])
    there.code = fresh.code
    there.save(update_fields=["code"])
    return fresh


@transaction.atomic
def unbind(label: Label) -> None:
    """Make a label blank again (undo of `bind`); the place goes back to its earlier label."""
    Boat.objects.select_for_update(no_key=True).get(pk=label.boat_id)
    fresh = Label.objects.select_related("location").get(pk=label.pk)
    place = fresh.location
    if place is None:
        raise Refused(f"Label {fresh.code} is blank already.", code="blank")
    earlier = Label.objects.filter(location=place).exclude(pk=fresh.pk).order_by("-id").first()
    if earlier is None:
        raise Refused(f"{place} has no other label; give it one first.", code="only_label")
    fresh.location = None
    fresh.save(update_fields=["location"])
    if place.code == fresh.code:
        place.code = earlier.code
        place.save(update_fields=["code"])


@transaction.atomic
def swap(one: Location, other: Location) -> None:
    """Exchange the labels of two places that were stuck the wrong way round. Done again, it is undone."""
    boat_id = one.boat_id
    Boat.objects.select_for_update(no_key=True).get(pk=boat_id)
    first = Location.objects.get(pk=one.pk)
    second = Location.objects.get(pk=other.pk)
    if first.pk == second.pk:
        raise Refused("Choose two different places.", code="same")
    if first.retired_at or second.retired_at:
        raise Refused("Only places in use can swap labels.", code="retired")
    firsts = list(Label.objects.filter(location=first).values_list("pk", flat=True))
    seconds = list(Label.objects.filter(location=second).values_list("pk", flat=True))
    Label.objects.filter(pk__in=firsts).update(location=second)
    Label.objects.filter(pk__in=seconds).update(location=first)
    code_one, code_two = first.code, second.code
    # The codes are unique: one place steps aside while they change over.
    Location.objects.filter(pk=first.pk).update(code="~")
    Location.objects.filter(pk=second.pk).update(code=code_one)
    Location.objects.filter(pk=first.pk).update(code=code_two)


@transaction.atomic
def mark_printed(labels: Iterable[Label]) -> None:
    """Note that labels were put on a sheet."""
    Label.objects.filter(pk__in=[label.pk for label in labels]).update(printed_at=timezone.now())
