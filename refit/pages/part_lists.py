"""What the pages of parts show: the list with its sieve and order, and all that is known of one part.

Decides which figures stand beside a part. Who may see a part is decided in `seeing`; a trade gets no prices here.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import django_filters
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce, Greatest

from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Kind, Member, System, Where
from refit.boat.rights import RIGHTS, Right
from refit.buying.models import COMING_STATES, Line
from refit.buying.reading import Known, known
from refit.calc.money import from_minor, minor_digits
from refit.calc.numbers import format_quantity
from refit.pages import seeing
from refit.pages.lists import FoldedFilter, Keys
from refit.reports.workbook import Column
from refit.reports.workbook import Kind as Cell
from refit.stores.models import Hazard, Holding, Kept, Movement, NumberKind, Part, fit, usable
from refit.stores.reading import Whereabouts, whereabouts

NIL = Decimal(0)
LAST = 10

KEYS: Keys = {
    "name": ("name", "id"),
    "system": ("system__name", "name", "id"),
    "aboard": ("aboard", "name", "id"),
    "ashore": ("ashore", "name", "id"),
    "coming": ("on_order", "name", "id"),
    "least": ("minimum", "name", "id"),
    "kept": ("kept", "name", "id"),
}

COLUMNS = (
    Column("Part"),
    Column("Specification"),
    Column("Part number"),
    Column("Other numbers"),
    Column("System"),
    Column("Unit"),
    Column("Kept"),
    Column("Aboard", Cell.NUMBER),
    Column("Out of date", Cell.NUMBER),
    Column("Ashore", Cell.NUMBER),
    Column("Away", Cell.NUMBER),
    Column("Level"),
    Column("On order", Cell.NUMBER),
    Column("Least to carry", Cell.NUMBER),
    Column("Where"),
    Column("Weight of one, kg", Cell.NUMBER),
    Column("Hazard class"),
)


def _nothing() -> Value:
    return Value(NIL, output_field=QuantityField())


def with_sums(parts: "QuerySet[Part]", on: date) -> "QuerySet[Part]":
    """Name the sums that a list is sorted or sifted by: aboard and in date, ashore, on order."""
    held: QuerySet[Any] = Holding.objects.filter(part=OuterRef("pk")).order_by().values("part")
    total = Sum("quantity", output_field=QuantityField())
    lines = Line.objects.filter(part=OuterRef("pk"), order__state__in=COMING_STATES).order_by()
    to_come = Greatest(
        F("quantity") - F("wont_come") - F("arrived"), _nothing(), output_field=QuantityField()
    )
    coming = lines.values("part").annotate(total=Sum(to_come, output_field=QuantityField()))
    sums = {
        "aboard": usable(held.filter(place__where=Where.ABOARD), on).annotate(total=total),
        "ashore": fit(held.filter(place__where=Where.ASHORE)).annotate(total=total),
        "on_order": coming,
    }
    # Aliases: worked out only where the list is sorted or sifted by them.
    return parts.alias(
        **{name: Coalesce(Subquery(rows.values("total")), _nothing()) for name, rows in sums.items()}
    )


def _systems(request: Any) -> "QuerySet[System]":
    return System.objects.filter(boat=request.boat)


class PartSieve(django_filters.FilterSet):
    """The sieve of the parts list."""

    text = FoldedFilter("search", label="Name or number")
    system = django_filters.ModelChoiceFilter(queryset=_systems, label="System", empty_label="All")
    where = django_filters.ChoiceFilter(
        method="lies",
        label="Where",
        empty_label="Anywhere",
        choices=[
            (Where.ABOARD, "Aboard"),
            (Where.ASHORE, "Ashore here"),
            (Where.AWAY, "Away"),
            ("unstowed", "Not stowed yet"),
            ("coming", "On order"),
            ("nowhere", "None anywhere"),
        ],
    )
    kept = django_filters.ChoiceFilter(choices=Kept.choices, label="Kept", empty_label="All")
    spare = django_filters.ChoiceFilter(
        method="spares",
        label="Spares",
        empty_label="All parts",
        choices=[("yes", "Spares only"), ("short", "Below least"), ("no", "No spares")],
    )
    use = django_filters.ChoiceFilter(
        method="used", label="In use", empty_label="In use", choices=[("retired", "Retired"), ("all", "All")]
    )

    class Meta:
        model = Part
        fields: list[str] = []

    @property
    def qs(self) -> "QuerySet[Part]":
        rows = super().qs
        return rows if self.data.get("use") in ("retired", "all") else rows.filter(retired_at=None)

    def lies(self, rows: "QuerySet[Part]", name: str, value: str) -> "QuerySet[Part]":
        held = Holding.objects.there().filter(part=OuterRef("pk"))
        if value == "coming":
            return rows.filter(Q(on_order__gt=NIL))
        if value == "nowhere":
            return rows.filter(~Exists(held))
        if value == "unstowed":
            return rows.filter(Exists(held.filter(place__kind=Kind.UNSTOWED)))
        return rows.filter(Exists(held.filter(place__where=value)))

    def spares(self, rows: "QuerySet[Part]", name: str, value: str) -> "QuerySet[Part]":
        if value == "short":
            return rows.filter(Q(aboard__lt=F("minimum")), is_spare=True, kept=Kept.COUNTED)
        return rows.filter(is_spare=value == "yes")

    def used(self, rows: "QuerySet[Part]", name: str, value: str) -> "QuerySet[Part]":
        return rows.filter(retired_at__isnull=False) if value == "retired" else rows


@dataclass(frozen=True)
class Row:
    """A part in the list, with what is known of it."""

    part: Part
    number: str
    where: Whereabouts
    on_order: Decimal

    @property
    def short(self) -> bool:
        return self.part.is_spare and self.part.kept == Kept.COUNTED and self.where.aboard < self.part.minimum


def rows_of(boat: Boat, parts: Iterable[Part], on: date) -> list[Row]:
    """Return what is known of some parts, in their order, in three queries whatever their number."""
    listed = list(parts)
    ids = [part.pk for part in listed]
    where = whereabouts(boat, ids, on)
    coming: dict[int | None, Decimal] = {}
    for line in Line.objects.filter(boat=boat, part_id__in=ids, order__state__in=COMING_STATES):
        coming[line.part_id] = coming.get(line.part_id, NIL) + line.open_quantity
    return [Row(part, first_number(part), where[part.pk], coming.get(part.pk, NIL)) for part in listed]


def aboard_first(held: Holding) -> int:
    """Return the key that puts what lies aboard before what is ashore, and that before what is away."""
    return [Where.ABOARD, Where.ASHORE, Where.AWAY].index(Where(held.place.where))


def first_number(part: Part) -> str:
    """Return the number a part is asked for by: the maker's, else the first that is no barcode."""
    numbers = part.numbers.all()  # type: ignore[attr-defined]
    rank: list[str] = [NumberKind.MAKER, NumberKind.SUPPLIER, NumberKind.SUPERSEDED, NumberKind.GTIN]
    return min(((rank.index(row.kind), row.pk, row.number) for row in numbers), default=(0, 0, ""))[2]


def lines_of(boat: Boat, parts: Iterable[Part], on: date) -> list[list[Any]]:
    """Return the values of `COLUMNS` for some parts."""
    return [
        [
            row.part.name,
            row.part.specification,
            row.number,
            "; ".join(n.number for n in row.part.numbers.all() if n.number != row.number),  # type: ignore[attr-defined]
            row.part.system.name if row.part.system else "",
            row.part.get_unit_display(),
            row.part.get_kept_display(),
            row.where.aboard,
            row.where.out_of_date,
            row.where.ashore,
            row.where.away,
            row.where.level,
            row.on_order,
            row.part.minimum,
            "; ".join(f"{held.place.plate} {_amount(held)}" for held in row.where.holdings),
            row.part.weight_kg,
            Hazard(row.part.hazard).label if row.part.hazard else "",
        ]
        for row in rows_of(boat, parts, on)
    ]


def _amount(held: Holding) -> str:
    return held.level or format_quantity(Decimal(held.quantity))


@dataclass(frozen=True)
class Bought:
    """An order line of a part, with what one unit cost: as priced, and all in."""

    line: Line
    price: str
    landed: str


@dataclass(frozen=True)
class PartFacts:
    """All that a part's page shows of it."""

    known: Known
    movements: list[Movement]
    bought: list[Bought]
    supersedes: list[Part]
    unstowed: Decimal


def facts_of(part: Part, member: Member, on: date) -> PartFacts:
    """Return what a part's page shows to this member: no prices, and no jobs of others, to a trade."""
    rights = RIGHTS[member.role]
    found = known(member.boat, [part], on)[0]
    if Right.SEE_ALL not in rights:
        mine = set(seeing.jobs(member).values_list("pk", flat=True))
        found.wanted_by = [(job, many) for job, many in found.wanted_by if job.pk in mine]
        found.coming = [line for line in found.coming if line.job_id in mine]
    found.where.holdings.sort(key=aboard_first)
    moves = Movement.objects.for_lists().filter(boat=member.boat, part=part)
    return PartFacts(
        known=found,
        movements=list(moves[:LAST]) if Right.SEE_ALL in rights else [],
        bought=_bought(part, member.boat) if Right.SEE_MONEY in rights else [],
        supersedes=list(seeing.parts(member).filter(superseded_by=part)),
        unstowed=sum(
            (Decimal(held.quantity) for held in found.where.holdings if held.place.kind == Kind.UNSTOWED), NIL
        ),
    )


def _bought(part: Part, boat: Boat) -> list[Bought]:
    lines = (
        Line.objects.filter(boat=boat, part=part)
        .select_related("order", "order__supplier", "job")
        .order_by("-order__number", "position")[:20]
    )
    return [Bought(line, _price(line), _landed(line, boat.currency)) for line in lines]


def _price(line: Line) -> str:
    """Return the price of one unit in the order's currency: `12.40 EUR`."""
    each = from_minor(line.amount, line.order.currency) / line.quantity
    return f"{_rounded(each, line.order.currency)} {line.order.currency}"


def _landed(line: Line, currency: str) -> str:
    """Return what one unit cost all in, in the boat's currency; nothing while it is in no sum."""
    if not line.counted or line.wanted <= 0:
        return ""
    return f"{_rounded(from_minor(line.landed, currency) / line.wanted, currency)} {currency}"


def _rounded(each: Decimal, currency: str) -> str:
    # Small things (a washer, a metre of thread) cost fractions of a penny each.
    digits = minor_digits(currency) + (2 if abs(each) < 1 else 0)
    return f"{each.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP):,f}"
