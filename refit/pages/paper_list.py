"""The list of papers: its sieve, its order and what a row says. Decides nothing about who may see a paper."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import django_filters
from django import forms
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from refit.boat.models import Paper, PaperKind
from refit.boat.rights import Right
from refit.pages import paper_owners, seeing
from refit.pages.lists import Keys
from refit.reports.workbook import Column, Kind

KEYS: Keys = {
    "newest": ["-number"],
    "number": ["number"],
    "kind": ["kind", "-number"],
    "name": ["name", "-number"],
    "added": ["added_at", "number"],
    "size": ["size", "number"],
}
COLUMNS = (
    Column("Paper", Kind.NUMBER),
    Column("Kind"),
    Column("Name"),
    Column("Belongs to"),
    Column("Added", Kind.DATE),
    Column("By"),
    Column("Bytes", Kind.NUMBER),
)
BELONGS = [
    ("order", "An order"),
    ("part", "A part"),
    ("job", "A job"),
    ("place", "A place"),
    ("none", "Nothing"),
]


@dataclass(frozen=True)
class PaperRow:
    """One paper as the list shows it, and what it belongs to as far as the member may see it."""

    paper: Paper
    owners: list[tuple[str, str]]


class PaperSieve(django_filters.FilterSet):
    """What the list of papers may be narrowed to."""

    q = django_filters.CharFilter(
        method="look_for",
        label="Number or name",
        max_length=100,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    kind = django_filters.ChoiceFilter(choices=PaperKind.choices, empty_label="Any")
    of = django_filters.ChoiceFilter(
        choices=BELONGS, method="belongs_to", label="Belongs to", empty_label="Anything"
    )

    class Meta:
        model = Paper
        fields: list[str] = []

    def look_for(self, rows: "QuerySet[Paper]", name: str, text: str) -> "QuerySet[Paper]":
        """Return the papers of this number, or with the text in their name."""
        either = Q(name__icontains=text)
        if text.isascii() and text.isdigit() and len(text) < 10:
            either |= Q(number=int(text))
        return rows.filter(either)

    def belongs_to(self, rows: "QuerySet[Paper]", name: str, of: str) -> "QuerySet[Paper]":
        """Return the papers of one kind of thing that the member may see, or those of nothing."""
        if of == "none":
            return rows.filter(seeing.loose())
        member = self.request.member
        things: dict[str, Any] = {"part": seeing.parts, "job": seeing.jobs, "place": seeing.places}
        if Right.SEE_MONEY in self.request.rights:
            things["order"] = seeing.orders
        if of not in things:
            return rows.none()
        kind = paper_owners.KINDS[of]
        mine = {f"{kind.column}__in": things[of](member).values("pk")}
        linked = Q(Exists(kind.link._default_manager.filter(paper=OuterRef("pk"), **mine)))
        if of in ("part", "place"):
            linked |= Q(Exists(things[of](member).filter(photo=OuterRef("pk"))))
        return rows.filter(linked)


def rows_of(request: Any, papers: list[Paper]) -> list[PaperRow]:
    """Return the rows of these papers, with what each belongs to, in a fixed number of queries."""
    owners = paper_owners.owners(request, papers)
    return [PaperRow(paper, owners.get(paper.pk, [])) for paper in papers]


def lines_of(request: Any, papers: list[Paper]) -> list[list[Any]]:
    """Return the values of `COLUMNS` for some papers."""
    return [
        [
            Decimal(row.paper.number),
            row.paper.get_kind_display(),
            row.paper.name,
            "; ".join(words for words, _ in row.owners),
            timezone.localdate(row.paper.added_at),
            row.paper.added_by.first_name or row.paper.added_by.get_username(),
            Decimal(row.paper.size),
        ]
        for row in rows_of(request, papers)
    ]
