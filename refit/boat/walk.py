"""The order in which one walks the places of a boat: aboard from bow to stern, then ashore, then away.

Areas that the owner numbered from the bow come first, by their numbers; the others by what their names say.
"""

from refit.boat.models import Kind, Location, Where
from refit.calc.along import along

LAST = 10**6
FAR = (Where.ABOARD, Where.ASHORE, Where.AWAY)
Walk = tuple[int, int, int, str, int, str, int]


def walk(place: Location) -> Walk:
    """Return the key that sorts places as one walks; within an area by mark. What is not stowed yet comes first."""
    area = place.area or place
    far = -1 if place.kind == Kind.UNSTOWED else FAR.index(Where(place.where))
    return far, area.from_bow or LAST, along(area.name), area.mark_sort, area.pk, place.mark_sort, place.pk
