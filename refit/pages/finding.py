"""Find: what a few typed letters may mean on a boat: places, parts, jobs, orders.

Decides what counts as a hit and which comes first. Looks only through what the member may see.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When
from django.db.models.functions import Lower, Replace

from refit.boat.models import Label, Location, Member
from refit.boat.rights import RIGHTS, Right
from refit.buying.models import Line, Order
from refit.buying.reading import coming
from refit.calc.codes import code_in
from refit.calc.text import fold
from refit.pages import seeing
from refit.pages.part_lists import aboard_first
from refit.stores.models import Part
from refit.stores.reading import Whereabouts, whereabouts
from refit.work.models import Job

A_FEW = 12
MANY = 100
NIL = Decimal(0)


@dataclass(frozen=True)
class FoundPart:
    """A part with where it lies, and how much of it is on order."""

    part: Part
    where: Whereabouts
    coming: list[Line]

    @property
    def on_order(self) -> Decimal:
        return sum((line.open_quantity for line in self.coming), NIL)


@dataclass
class Found:
    """What a text may mean, the best first; `more` says that some was left off."""

    places: list[Location] = field(default_factory=list)
    parts: list[FoundPart] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)
    orders: list[Order] = field(default_factory=list)
    exact: Location | None = None  # the place whose label carries just this code
    blank: Label | None = None  # a label with this code and no place yet
    more: bool = False

    @property
    def nothing(self) -> bool:
        return not (self.places or self.parts or self.jobs or self.orders or self.blank)


def find(member: Member, text: str, on: date, most: int = A_FEW) -> Found:
    """Return what the text may mean. One letter finds only what is called just that."""
    found = Found()
    whole = fold(text)
    if not whole:
        return found
    found.places, found.exact, found.blank = _places(member, text, whole, most)
    parts = _few(parts_like(seeing.parts(member), text), most)
    where = whereabouts(member.boat, [part.pk for part in parts], on)
    lines = coming(member.boat, [part.pk for part in parts]) if parts else {}
    for lies in where.values():
        lies.holdings.sort(key=aboard_first)
    found.parts = [FoundPart(part, where[part.pk], lines.get(part.pk, [])) for part in parts]
    found.jobs = _jobs(member, text, whole, most)
    if Right.SEE_MONEY in RIGHTS[member.role]:
        found.orders = _orders(member, text, whole, most)
    groups: list[list[Any]] = [found.places, found.parts, found.jobs, found.orders]
    found.more = any(len(rows) > most for rows in groups)
    for rows in groups:
        del rows[most:]
    return found


def parts_like(parts: "QuerySet[Part]", text: str) -> "QuerySet[Part]":
    """Return the parts whose name, specification or any number holds the text, the best first.

    The whole text without blanks comes before its words apart; what is superseded or retired comes last.
    """
    whole = fold(text)
    words = [word for word in (fold(word) for word in text.split()) if word]
    if len(whole) < 2:
        return parts.none()
    apart = Q()
    for word in words:
        apart &= Q(search__contains=word)
    rank = Case(
        When(retired_at__isnull=False, then=Value(4)),
        When(superseded_by__isnull=False, then=Value(3)),
        When(search__startswith=whole, then=Value(0)),
        When(search__contains=whole, then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )
    return parts.filter(Q(search__contains=whole) | apart).order_by(rank, "name", "id")


def _few(parts: "QuerySet[Part]", most: int) -> list[Part]:
    return list(
        parts.select_related("system", "usual_place", "superseded_by").prefetch_related("numbers")[: most + 1]
    )


def _places(
    member: Member, text: str, whole: str, most: int
) -> tuple[list[Location], Location | None, Label | None]:
    """Return the places meant: first the one with this label code or mark, then by mark and name."""
    places = seeing.places(member).select_related("area", "parent", "went_to")
    exact, blank = None, None
    code = code_in(text)
    label = Label.objects.filter(boat_id=member.boat_id, code=code).first() if code else None
    if label and label.location_id:
        exact = places.filter(pk=label.location_id).first()
    elif label and Right.SET_UP in RIGHTS[member.role]:
        blank = label
    meant = Q(mark_folded=whole)
    if len(whole) > 1:
        meant |= Q(folded__contains=whole)
    rank = Case(
        When(mark_folded=whole, then=Value(0)),
        When(mark_folded__startswith=whole, then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )
    rows = list(places.filter(meant, retired_at=None).order_by(rank, "mark_sort", "name", "id")[: most + 1])
    if exact:
        rows = [exact, *(row for row in rows if row.pk != exact.pk)]
    return rows, exact, blank


def _jobs(member: Member, text: str, whole: str, most: int) -> list[Job]:
    number = _number(whole, "job")
    meant = Q(number=number) if number is not None else Q(pk=None)
    words = [word for word in (fold(word) for word in text.split()) if word]
    if len(whole) > 1:
        apart = Q()
        for word in words:
            apart &= Q(folded__contains=word)
        meant |= Q(folded__contains=whole) | apart
    rows = seeing.jobs(member).filter(meant).select_related("system")
    return _first(rows, number, most, ("number",))


def _orders(member: Member, text: str, whole: str, most: int) -> list[Order]:
    number = _number(whole, "order")
    meant = Q(number=number) if number is not None else Q(pk=None)
    rows = seeing.orders(member).select_related("supplier")
    if len(whole) > 1:
        # A reference isn't kept folded: its blanks and hyphens are taken out where it lies.
        plain = Replace(Replace(Lower("reference"), Value(" "), Value("")), Value("-"), Value(""))
        rows = rows.alias(plain_reference=plain)
        meant |= Q(plain_reference__contains=whole) | Q(supplier__folded__contains=whole)
    return _first(rows.filter(meant), number, most, ("-number",))


def _first(rows: "QuerySet[Any]", number: int | None, most: int, then: Iterable[str]) -> list[Any]:
    """Return the rows, the one with this number first."""
    rank = Case(
        When(number=-1 if number is None else number, then=Value(0)),
        default=Value(1),
        output_field=IntegerField(),
    )
    return list(rows.order_by(rank, *then)[: most + 1])


def _number(whole: str, word: str) -> int | None:
    """Return the number in `31` or `job 31`; None for other words and for what no number can be."""
    figures = whole.removeprefix(word)
    return int(figures) if figures.isascii() and figures.isdecimal() and len(figures) < 9 else None
