"""How every list page works: the sieve, the order, pages of 50, and the whole list as a file.

Decides how `?sort=`, `?page=` and `?export=` are read. Does not decide which rows a person may see, nor which
columns a list has: the view says both.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

import django_filters
from django import forms
from django.core.paginator import Page, Paginator
from django.db.models import Q, QuerySet
from django.http import HttpResponse

from refit.boat.identity import identity
from refit.calc.text import fold
from refit.reports.tables import TableExport, table_csv, table_xlsx
from refit.reports.workbook import Column

A_PAGE = 50
# Rows are worked out so many at a time for a file, so that no look-up names more ids than a database takes.
AT_A_TIME = 500
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

# From the word in ?sort= to the columns that it orders by, upwards. The first is the list's own order.
Keys = Mapping[str, Sequence[str]]


class FoldedFilter(django_filters.CharFilter):
    """Words looked for in folded columns, each word somewhere: case, accents, blanks and hyphens don't matter."""

    def __init__(self, *columns: str, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Find")
        kwargs.setdefault("max_length", 100)
        kwargs.setdefault("widget", forms.TextInput(attrs={"type": "search", "autocomplete": "off"}))
        super().__init__(**kwargs)
        self.columns = columns

    def filter(self, qs: "QuerySet[Any]", value: str) -> "QuerySet[Any]":
        for word in folded_words(value or ""):
            either = Q()
            for column in self.columns:
                either |= Q(**{f"{column}__contains": word})
            qs = qs.filter(either)
        return qs


def folded_words(text: str) -> list[str]:
    """Return the folded words of a text; `M8 × 40` is one word, as a number is written with or without blanks."""
    whole = fold(text)
    words = [fold(word) for word in text.split()]
    if whole and any(letter.isdigit() for letter in whole) and any(len(word) < 2 for word in words):
        return [whole]
    return [word for word in words if word]


@dataclass(frozen=True)
class Listing:
    """One list as it was asked for: all rows in order, the page of them, and the sieve they came through."""

    all: "QuerySet[Any]"
    page: "Page[Any]"
    filter: django_filters.FilterSet | None = None

    @property
    def rows(self) -> list[Any]:
        """Return the rows of this page."""
        return list(self.page.object_list)


def sieved(request: Any, sieve: type[django_filters.FilterSet], rows: "QuerySet[Any]", keys: Keys) -> Listing:
    """Return the rows that pass the list's FilterSet, in the order asked for, a page of them."""
    filtered = sieve(request.GET, queryset=rows, request=request)
    found = listed(request, filtered.qs, keys)
    return Listing(found.all, found.page, filtered)


def listed(request: Any, rows: "QuerySet[Any]", keys: Keys) -> Listing:
    """Return the rows in the order asked for, a page of them."""
    ordered = rows.order_by(*order(request, keys))
    return Listing(ordered, Paginator(ordered, A_PAGE).get_page(request.GET.get("page")))


def order(request: Any, keys: Keys) -> list[str]:
    """Return the columns to order by: as `?sort=` says if the table knows it, else the first of the table."""
    asked = request.GET.get("sort", "")
    down = asked.startswith("-")
    name = asked.removeprefix("-")
    if name not in keys:
        name, down = next(iter(keys)), False
    first, *then = keys[name]
    # Downwards turns the first column alone: what ties stays in the order people look for.
    columns = [_turned(first) if down else first, *then]
    # The id ends every order, or rows that tie would wander between pages.
    return columns if columns[-1] in ("id", "-id") else [*columns, "id"]


def exported(
    request: Any,
    title: str,
    columns: Sequence[Column],
    listing: Listing,
    lines: Callable[[list[Any]], Sequence[Sequence[Any]]],
) -> HttpResponse | None:
    """Return the whole list as the file that `?export=xlsx` or `csv` asks for; None if a page was asked for.

    `lines` turns some rows (at most 500 at a time) into the values of the columns.
    """
    kind = request.GET.get("export")
    if kind not in ("xlsx", "csv"):
        return None
    values = [line for rows in _batches(listing.all) for line in lines(rows)]
    return file_of(request, TableExport(title, columns, values), kind)


def file_of(request: Any, export: TableExport, kind: str) -> HttpResponse:
    """Return a table as an answer that is kept as a file, `kind` being xlsx or csv."""
    boat = request.boat
    name = f"{boat.slug} {export.title.casefold()} {request.today.isoformat()}.{kind}".replace(" ", "-")
    if kind == "csv":
        return attached(table_csv(export, boat.currency), name, "text/csv; charset=utf-8")
    sheet = table_xlsx(export, boat.currency, identity=identity(boat), as_at=request.today)
    return attached(sheet, name, XLSX)


def attached(content: bytes, name: str, kind: str) -> HttpResponse:
    """Return bytes as a file to keep."""
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _turned(column: str) -> str:
    return column[1:] if column.startswith("-") else f"-{column}"


def _batches(rows: "QuerySet[Any]") -> Iterator[list[Any]]:
    running = rows.iterator(chunk_size=AT_A_TIME)
    while some := list(islice(running, AT_A_TIME)):
        yield some
