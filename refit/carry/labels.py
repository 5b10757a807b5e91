"""What stands on a boat's labels: the rows of a label sheet, for the page and for the command.

Decides which places have a label to print, and where a label leads. How it looks and where it lies on the sheet is
decided in reports.
"""

from collections.abc import Iterable

from django.conf import settings
from django.db.models import Exists, OuterRef, QuerySet

from refit.boat.models import Boat, Kind, Label, Location
from refit.reports.labels import LabelRow

WITH_LABEL = (Kind.LOCKER, Kind.BOX, Kind.BAG)


def labelled(boat: Boat) -> "QuerySet[Location]":
    """Return the places in use that carry a label: lockers, boxes and bags. Nobody sticks one on an area."""
    places = Location.objects.filter(boat=boat, kind__in=WITH_LABEL, retired_at=None)
    return places.select_related("area").order_by("mark_sort", "name", "id")


def never_printed(boat: Boat) -> "QuerySet[Location]":
    """Return the labelled places whose label was never put on a sheet."""
    printed = Label.objects.filter(
        boat_id=OuterRef("boat_id"), code=OuterRef("code"), printed_at__isnull=False
    )
    return labelled(boat).filter(~Exists(printed))


def blank_labels(boat: Boat) -> "QuerySet[Label]":
    """Return the labels that lead nowhere yet and were never put on a sheet."""
    return Label.objects.filter(boat=boat, location=None, printed_at=None).order_by("id")


def address_of(code: str) -> str:
    """Return what the label says to a phone; in capitals, because they take less room in the code."""
    return f"{settings.REFIT_ADDRESS}/L/{code}".upper()


def row_of(place: Location) -> LabelRow:
    """Return the label of a place; its area must have been fetched with it."""
    area = place.area.name or place.area.mark if place.area else ""
    return LabelRow(address_of(place.code), place.mark, place.name, area, place.code)


def rows_of_places(places: Iterable[Location]) -> list[LabelRow]:
    """Return the labels of places, in their order."""
    return [row_of(place) for place in places]


def rows_of_labels(labels: Iterable[Label]) -> list[LabelRow]:
    """Return labels by their codes alone: those without a place are left blank, to be written on by hand."""
    return [
        row_of(label.location)
        if label.location and label.location.code == label.code
        else LabelRow(address_of(label.code), "", "", "", label.code)
        for label in labels
    ]
