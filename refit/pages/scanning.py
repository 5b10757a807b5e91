"""What a scanned or typed text leads to, among the boats of the person who scanned it.

Decides what is found and that what a person may not see is not. What is shown then, the view decides.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from stdnum import ean

from refit.boat.models import Boat, Label, Location, Member
from refit.boat.rights import RIGHTS, Right
from refit.calc.text import fold
from refit.pages import seeing
from refit.stores.models import NumberKind, Part, PartNumber

GTIN_LENGTHS = (8, 12, 13, 14)


@dataclass(frozen=True)
class Membership:
    """One boat of the person, and what they may do there."""

    member: Member

    @property
    def boat(self) -> Boat:
        return self.member.boat

    def has(self, right: Right) -> bool:
        return right in RIGHTS[self.member.role]


def memberships(user: Any) -> dict[int, Membership]:
    """Return the person's boats by their ids."""
    found = Member.objects.filter(user=user).select_related("boat", "user").order_by("boat__name", "id")
    return {member.boat_id: Membership(member) for member in found}


def labels_seen(boats: dict[int, Membership], codes: Iterable[str]) -> list[Label]:
    """Return the labels with these codes that the person may see: a blank one only where they see everything."""
    labels = (
        Label.objects.filter(code__in=set(codes), boat_id__in=boats)
        .select_related("boat", "location__area", "location__parent")
        .order_by("boat__name", "id")
    )
    return [label for label in labels if _sees_label(boats[label.boat_id].member, label)]


def parts_with(boats: dict[int, Membership], numbers: Iterable[str]) -> list[PartNumber]:
    """Return the parts that carry one of these makers' barcodes and that the person may see."""
    wanted = {shape for number in numbers for shape in shapes(number)}
    if not wanted:
        return []
    found = PartNumber.objects.filter(boat_id__in=boats, kind=NumberKind.GTIN, folded__in=wanted)
    return [
        number
        for number in found.select_related("part", "boat").order_by("boat__name", "id")
        if _sees_part(boats[number.boat_id].member, number.part)
    ]


def places_marked(boats: dict[int, Membership], text: str) -> list[Location]:
    """Return the places in use whose mark is what was typed, as people type what they read on the door."""
    wanted = fold(text)
    if not wanted or len(wanted) > 24 or not wanted.isprintable():  # PostgreSQL takes no NUL, even to compare
        return []
    places = Location.objects.filter(boat_id__in=boats, retired_at=None, mark_folded=wanted)
    return [
        place
        for place in places.select_related("boat", "area").order_by("boat__name", "id")
        if _sees_place(boats[place.boat_id].member, place)
    ]


def gtin_in(text: str) -> str | None:
    """Return the maker's barcode number (EAN or UPC) that the text is, as 13 or 14 digits or as it stands."""
    digits = text.replace(" ", "").replace("-", "")
    if len(digits) not in GTIN_LENGTHS or not (digits.isascii() and digits.isdigit()):
        return None
    return digits if ean.is_valid(digits) else None


def shapes(number: str) -> set[str]:
    """Return the lengths at which one and the same number may have been kept: 12 figures are 13 with a nought."""
    bare = number.lstrip("0")
    return {bare.zfill(length) for length in GTIN_LENGTHS if len(bare) <= length}


def _sees_label(member: Member, label: Label) -> bool:
    if label.location is None:
        return seeing.sees_all(member)
    return _sees_place(member, label.location)


def _sees_place(member: Member, place: Location) -> bool:
    return seeing.sees_all(member) or seeing.places(member).filter(pk=place.pk).exists()


def _sees_part(member: Member, part: Part) -> bool:
    return seeing.sees_all(member) or seeing.parts(member).filter(pk=part.pk).exists()
