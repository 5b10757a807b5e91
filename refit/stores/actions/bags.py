"""Bag and tag: what was taken apart lies in a bag with a label; its photos, in order, show how."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.actions.papers import put_on
from refit.boat.actions.places import add_place, retire_empty
from refit.boat.models import Kind, Label, Location, Paper, PlacePaper
from refit.boat.refusals import Refused
from refit.stores.models import Holding
from refit.work.actions.days import our_day
from refit.work.models import Bag, Job


@transaction.atomic
def bag_up(
    job: Job,
    *,
    what: str,
    note: str,
    place: Location,
    label: Label | None,
    photos: Sequence[Paper],
    by: Any,
    on: date,
    today: date,
) -> Bag:
    """Make a bag, with the blank label that is on it, for what was taken apart; it lies in a place.

    The photos belong to the bag in the order given.
    """
    lock(job.boat)
    if not what:
        raise Refused("What was taken apart? A few words.", code="required", field="what")
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="on")
    our_day(on, job.boat, field="on")
    if label is not None:
        label = standing(Label.objects.all(), label.pk, "The label")
    bag = add_place(job.boat, kind=Kind.BAG, parent=place, name=f"{what[:60]}, job {job.number}", label=label)
    for photo in photos:
        put_on(PlacePaper, photo, location=bag)
    return Bag.objects.create(
        boat=job.boat, job=job, place=bag, what=what, note=note, taken_apart_on=on, by=by
    )


@transaction.atomic
def put_together(bag: Bag, *, on: date) -> Bag:
    """Say that what lay in a bag is together again."""
    lock(bag.boat)
    fresh = standing(Bag.objects.all(), bag.pk, "The bag")
    if fresh.back_on is not None:
        raise Refused(f"It was put together on {fresh.back_on:%-d %b %Y} already.", code="together")
    fresh.back_on = on
    fresh.save(update_fields=["back_on"])
    return fresh


@transaction.atomic
def apart_again(bag: Bag) -> Bag:
    """Say that it still lies in its bag (undo)."""
    lock(bag.boat)
    fresh = standing(Bag.objects.all(), bag.pk, "The bag")
    other = Bag.objects.filter(place=fresh.place, back_on=None).exclude(pk=fresh.pk).first()
    if other is not None:
        raise Refused(f"The bag holds {other} by now.", code="in_use")
    fresh.back_on = None
    fresh.save(update_fields=["back_on"])
    return fresh


@transaction.atomic
def unbag(bag: Bag) -> None:
    """Take back what was just bagged up (undo): the bag goes out of use, with its label and photos."""
    lock(bag.boat)
    fresh = standing(Bag.objects.select_related("place"), bag.pk, "The bag")
    if Holding.objects.there().filter(place=fresh.place).exists():
        raise Refused(f"Things lie in {fresh.place}. Put them elsewhere first.", code="not_empty")
    retire_empty(fresh.place, fresh.place.parent)
    fresh.delete()


@transaction.atomic
def change_bag(bag: Bag, *, what: str, note: str) -> Bag:
    """Change what is said of a bag."""
    lock(bag.boat)
    fresh = standing(Bag.objects.all(), bag.pk, "The bag")
    if not what:
        raise Refused("What was taken apart? A few words.", code="required", field="what")
    fresh.what, fresh.note = what, note
    fresh.save(update_fields=["what", "note"])
    return fresh
