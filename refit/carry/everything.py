"""All of a boat's data, so that an owner can leave: every table as a sheet, with names beside the ids.

Decides how a column is made of the database, and what stands in it. Columns are read off the
models, so that a field added tomorrow is in the file tomorrow; what they are called stands in `everything_words`.
How a file is written, `reports.streamed` decides. Nothing is held in memory but the rows in hand.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, BinaryIO

from django.contrib.auth import get_user_model
from django.db import models
from django.db.models import OuterRef, Subquery, Sum

from refit.boat.actions.papers import file_of
from refit.boat.clock import day_of, zone
from refit.boat.fields import QuantityField, tidy
from refit.boat.identity import identity
from refit.boat.models import Boat, Paper
from refit.boat.pictures import SUFFIXES
from refit.buying import models as buying
from refit.carry.everything_words import (
    ALSO,
    HEADINGS,
    LAST_CAME,
    MONEY_IN,
    NAMES,
    NOT_BILLED,
    REPEATED,
    STAYS,
    TABLES,
    Table,
)
from refit.reports.streamed import A_CHUNK, Amount, Member, Running, Value, csv_chunks, write_book, zip_chunks

AT_A_TIME = 2000
Said = Callable[[str], None]


@dataclass(frozen=True)
class Column:
    """One column: its heading, the columns of the database it is made of, and how."""

    heading: str
    paths: tuple[str, ...]
    make: Callable[..., Value]


def columns_of(model: type[models.Model], boat: Boat) -> list[Column]:
    """Return the columns of a table's sheet."""
    found: list[Column] = []
    for field in model._meta.concrete_fields:
        if field.name not in REPEATED and field.name != "boat":
            found += _columns(model, field, boat)
    for heading, path in ALSO.get(model, ()):
        field = _field_at(model, path)
        found.append(Column(heading, (path,), _plain if field is None else _maker(field, boat)))
    if model is buying.Line:
        found += [
            Column(charge_heading(kind, boat.currency), (_charge_path(kind),), _amount_in(boat.currency))
            for kind in buying.ChargeKind
        ]
        found.append(Column(f"Not billed yet, {boat.currency}", (NOT_BILLED,), _amount_in(boat.currency)))
    if model is Paper:
        found.append(Column("File", ("number", "content_type"), file_name))
    return found


def charge_heading(kind: buying.ChargeKind, currency: str) -> str:
    """Return the heading of what the charges of a kind add to a line's cost."""
    return f"{kind.label}, {currency}"


def _charge_path(kind: str) -> str:
    return f"charges_{kind}"


def _field_at(model: type[models.Model], path: str) -> Any:
    """Return the field at the end of a path; None for what is worked out with the row."""
    if path == LAST_CAME:
        return None
    *before, last = path.split("__")
    for name in before:
        model = model._meta.get_field(name).related_model  # type: ignore[assignment]
    return model._meta.get_field(last)


def file_name(number: int, content_type: str) -> str:
    """Return where a paper lies in the zip."""
    return f"papers/paper-{number}{SUFFIXES[content_type]}"


def running(boat: Boat, table: Table) -> Running:
    """Return a table of the boat as a sheet, its rows read as they are written."""
    title, model = table
    columns = columns_of(model, boat)
    return Running(title, [column.heading for column in columns], _rows(boat, model, columns))


def sheets(boat: Boat, say: Said) -> Iterator[Running]:
    """Yield all sheets of the boat, what they are first."""
    about: list[list[Value]] = [[word, value] for word, value in _about(boat)]
    about += [[f"Sheet “{title}”", rows_in(boat, model).count()] for title, model in TABLES]
    yield Running("About", ("What", "It is"), about)
    for table in TABLES:
        say(table[0])
        yield running(boat, table)


def rows_in(boat: Boat, model: type[models.Model]) -> "models.QuerySet[Any]":
    """Return the rows of a table that are this boat's."""
    rows = model._base_manager.all()
    return rows.filter(pk=boat.pk) if model is Boat else rows.filter(boat=boat)


def write_workbook(out: BinaryIO, boat: Boat, say: Said = lambda word: None) -> None:
    """Write all of the boat's data as one workbook."""
    write_book(out, sheets(boat, say), title="All my data", identity=identity(boat), as_at=day_of(boat))


def folder(boat: Boat, say: Said = lambda word: None) -> Iterator[bytes]:
    """Yield a zip of a folder: a csv for each table, the papers themselves, and a note on what is what."""
    day = day_of(boat)
    top = f"{boat.slug}-{day.isoformat()}"
    return zip_chunks(_members(boat, top, say), day)


def _members(boat: Boat, top: str, say: Said) -> Iterator[Member]:
    lost: list[str] = []
    for table in TABLES:
        say(table[0])
        yield Member(f"{top}/{csv_name(table[0])}", csv_chunks(running(boat, table)))
    say("Papers themselves")
    for paper in rows_in(boat, Paper).order_by("number").iterator(chunk_size=AT_A_TIME):
        path = file_of(paper)
        if path.exists():
            yield Member(f"{top}/{file_name(paper.number, paper.content_type)}", _read(path), packed=False)
        else:
            lost.append(f"paper {paper.number}")
    lines = [f"{word}: {value}" if word else str(value) for word, value in _about(boat)]
    if lost:
        lines += ["", f"Files that were not in the data folder: {', '.join(lost)}."]
    yield Member(f"{top}/read-me.txt", [("\r\n".join(lines) + "\r\n").encode("utf-8-sig")])


def csv_name(title: str) -> str:
    """Return the name of a table's csv."""
    return title.lower().replace(",", "").replace(" ", "-") + ".csv"


def _read(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while chunk := file.read(A_CHUNK):
            yield chunk


def _about(boat: Boat) -> Iterator[tuple[str, str]]:
    yield "Boat", boat.name
    for line in identity(boat)[1:]:
        yield "", line
    yield "As at", day_of(boat).isoformat()
    yield "Money", f"{boat.currency} unless a column beside the amount says another currency"
    yield "Hours", f"of the time zone {boat.time_zone}"
    yield "Ids", "A column that ends in “id” holds the Id of a row on the sheet that it is named after."
    yield (
        "Text",
        "In csv, text that begins with = + - or @ has a ' before it, so that no spreadsheet runs it.",
    )
    yield "Papers", "The zip holds each paper by its number; the sheet Papers says which file it is."
    yield "Not in it", "; ".join(dict.fromkeys(STAYS.values())) + "."
    yield "By", "Prepared by the owner, not verified"


def _rows(boat: Boat, model: type[models.Model], columns: list[Column]) -> Iterator[list[Value]]:
    paths = list(dict.fromkeys(path for column in columns for path in column.paths))
    at = {path: place for place, path in enumerate(paths)}
    makers = [(column.make, [at[path] for path in column.paths]) for column in columns]
    rows = rows_in(boat, model)
    if model is buying.Line:
        rows = rows.annotate(**_worked_out())
    found = rows.order_by("pk").values_list(*paths)
    for row in found.iterator(chunk_size=AT_A_TIME):
        yield [make(*(row[place] for place in places)) for make, places in makers]


def _worked_out() -> dict[str, Subquery]:
    """Return what is worked out with each order line: its charges of each kind, and when something last came."""
    shares = buying.Share.objects.filter(line=OuterRef("pk")).order_by()
    found = {
        _charge_path(kind): Subquery(
            shares.filter(charge__kind=kind).values("line").annotate(all=Sum("home")).values("all")
        )
        for kind in buying.ChargeKind
    }
    found[NOT_BILLED] = Subquery(
        shares.filter(charge__expected=True).values("line").annotate(all=Sum("home")).values("all")
    )
    came = buying.DeliveryLine.objects.filter(line=OuterRef("pk"), delivery__undone_at=None)
    found[LAST_CAME] = Subquery(came.order_by("-delivery__arrived_on").values("delivery__arrived_on")[:1])
    return found


def _columns(model: type[models.Model], field: Any, boat: Boat) -> list[Column]:
    heading = _heading(model, field)
    if field.primary_key:
        return [Column("Id", (field.attname,), _plain)]
    if isinstance(field, models.ForeignKey):
        return _naming(field, heading)
    if type(field) is models.BigIntegerField:
        return _money(model, field, heading, boat)
    return [Column(heading, (field.attname,), _maker(field, boat))]


def _heading(model: type[models.Model], field: Any) -> str:
    word = HEADINGS.get(f"{model.__name__}.{field.name}") or HEADINGS.get(field.name)
    return word or str(field.verbose_name)[:1].upper() + str(field.verbose_name)[1:]


def _naming(field: Any, heading: str) -> list[Column]:
    """Return the name of the row that is pointed at, and its id. People are named by what they sign in as."""
    target: Any = field.related_model
    named = tuple(f"{field.name}__{path}" for path in NAMES.get(target, ()))
    by_name = [Column(heading, named, _first if target is buying.Line else _joined)] if named else []
    if target is get_user_model():
        return by_name
    return [*by_name, Column(f"{heading} id", (field.attname,), _plain)]


def _money(model: type[models.Model], field: Any, heading: str, boat: Boat) -> list[Column]:
    paths = MONEY_IN.get((model, field.name))
    home = boat.currency
    if paths is None:
        return [Column(f"{heading}, {home}", (field.attname,), _amount_in(home))]

    def amount(minor: int | None, *currencies: str | None) -> Value:
        return None if minor is None else Amount(minor, str(_first(*currencies) or home))

    found = [Column(heading, (field.attname, *paths), amount)]
    if paths != ("currency",):  # else the row says it already
        found.append(Column(f"{heading}, currency", paths, _first))
    return found


def _amount_in(currency: str) -> Callable[..., Value]:
    return lambda minor: None if minor is None else Amount(int(minor), currency)


def _maker(field: Any, boat: Boat) -> Callable[..., Value]:
    """Return how a value of the field is said."""
    if field.choices:
        labels = {key: str(label) for key, label in field.flatchoices}
        return lambda value: labels.get(value, _plain(value))
    if isinstance(field, models.BooleanField):
        return lambda value: None if value is None else ("yes" if value else "no")
    if isinstance(field, QuantityField):
        return lambda value: value
    if isinstance(field, models.DateTimeField):
        hours = zone(boat)

        def local(value: datetime | None) -> Value:
            return None if value is None else value.astimezone(hours).replace(tzinfo=None, microsecond=0)

        return local
    return _plain


def _plain(value: Any) -> Value:
    return tidy(value) if isinstance(value, Decimal) else value


def _joined(*values: Any) -> str:
    return " ".join(str(value) for value in values if value not in (None, ""))


def _first(*values: Any) -> Value:
    return next((value for value in values if value not in (None, "")), None)
