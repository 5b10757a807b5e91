"""Proof of the boat: places know their area and whereabouts, codes are known labels, the guards are in place."""

from collections.abc import Iterator

from django.db import connection

from refit.boat import guards
from refit.boat.models import Label, Location


def differences() -> Iterator[str]:
    """Yield one sentence for every difference."""
    for name in guards.missing(connection):
        yield f"Guard {name} is not in place; run migrate."
    places = {place.pk: place for place in Location.objects.all()}
    labels = {
        (boat, code): place
        for boat, code, place in Label.objects.values_list("boat_id", "code", "location_id")
    }
    for place in places.values():
        top, seen = place, {place.pk}
        while top.parent_id:
            top = places[top.parent_id]
            if top.pk in seen:
                yield f"Place {place.pk} ({place}) lies in itself."
                break
            seen.add(top.pk)
        else:
            area = top.pk if top.pk != place.pk else None
            if place.area_id != area:
                yield f"Place {place.pk} ({place}): area is down as {place.area_id}, the tree says {area}."
            if (place.where, place.days_away) != (top.where, top.days_away):
                yield f"Place {place.pk} ({place}) is down as {place.where}, its area is {top.where}."
        if labels.get((place.boat_id, place.code)) != place.pk:
            yield f"Place {place.pk} ({place}): label {place.code} does not lead to it."
