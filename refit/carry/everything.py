"""All of a boat's data, so that an owner can leave: every table as a sheet, with names beside the ids.

Decides which sheets there are, what their columns are called and what stands in them. Columns are read off the
models, so that a field added tomorrow is in the file tomorrow; only what a person would not understand is named here.
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

from refit.boat import models as boats
from refit.boat.actions.papers import file_of
from refit.boat.clock import day_of, zone
from refit.boat.fields import QuantityField, tidy
from refit.boat.identity import identity
from refit.boat.models import Boat, Paper
from refit.boat.pictures import SUFFIXES
from refit.buying import models as buying
from refit.reports.streamed import A_CHUNK, Amount, Member, Running, Value, csv_chunks, write_book, zip_chunks
from refit.stores import models as stores
from refit.work import models as work

AT_A_TIME = 2000
Table = tuple[str, type[models.Model]]
Said = Callable[[str], None]

# The sheets, in the order in which a person would read them.
TABLES: tuple[Table, ...] = (
    ("Boat", Boat),
    ("People", boats.Member),
    ("Systems", boats.System),
    ("Budgets", boats.Budget),
    ("Contingency", boats.Contingency),
    ("Places", boats.Location),
    ("Cautions of places", boats.PlaceCaution),
    ("Labels", boats.Label),
    ("Jobs", work.Job),
    ("Parts wanted", stores.Need),
    ("Estimates", work.Estimate),
    ("Estimates by date", work.EstimateAmount),
    ("Parts", stores.Part),
    ("Part numbers", stores.PartNumber),
    ("Batches", stores.Lot),
    ("What is where", stores.Holding),
    ("Not usable", stores.SetAside),
    ("In and out", stores.Movement),
    ("What was done", stores.Entry),
    ("Counts", stores.Count),
    ("Not there", stores.Missing),
    ("Suppliers", buying.Supplier),
    ("Orders", buying.Order),
    ("Order lines", buying.Line),
    ("Charges", buying.Charge),
    ("Shares of charges", buying.Share),
    ("Arrived", buying.Delivery),
    ("Arrived, lines", buying.DeliveryLine),
    ("Refunds", buying.Credit),
    ("Shares of refunds", buying.CreditShare),
    ("Sent back", buying.Return),
    ("Sent back, lines", buying.ReturnLine),
    ("Payments", buying.Payment),
    ("Payments, what for", buying.PaymentSplit),
    ("Orders that repeat", buying.Repeat),
    ("Corrections", buying.Correction),
    ("How costs came about", buying.CostStep),
    ("Sold and given", buying.Disposal),
    ("Papers", Paper),
    ("Papers of orders", buying.OrderPaper),
    ("Papers of parts", stores.PartPaper),
    ("Papers of jobs", work.JobPaper),
    ("Papers of places", boats.PlacePaper),
)
# Every other table of the program, and why it stays behind. Whoever takes the files reads these reasons in them.
STAYS: dict[str, str] = {
    "boat.FormKey": "keys of forms that were sent, which keep one from acting twice",
    "boat.SheetShape": "how the columns of imported files were read",
    "auth.User": "passwords (the people themselves are on the sheet People)",
    "sessions.Session": "who is signed in where",
    "axes.AccessAttempt": "wrong passwords and sign-ins",
    "axes.AccessAttemptExpiration": "wrong passwords and sign-ins",
    "axes.AccessFailureLog": "wrong passwords and sign-ins",
    "axes.AccessLog": "wrong passwords and sign-ins",
    "admin.LogEntry": "lists that the program keeps of itself, alike for all boats",
    "auth.Group": "lists that the program keeps of itself, alike for all boats",
    "auth.Permission": "lists that the program keeps of itself, alike for all boats",
    "contenttypes.ContentType": "lists that the program keeps of itself, alike for all boats",
}
# Columns that only repeat others in a form that is quick to look up.
REPEATED = ("folded", "mark_folded", "mark_sort", "search")

# What a row is called where another names it, and the columns that say so.
NAMES: dict[type[models.Model], tuple[str, ...]] = {
    boats.System: ("name",),
    boats.Location: ("mark", "name"),
    boats.Member: ("user__first_name", "user__username"),
    Paper: ("number",),
    work.Job: ("number", "title"),
    work.Estimate: ("words",),
    stores.Part: ("name",),
    stores.Lot: ("serial", "expires_on"),
    stores.Entry: ("said",),
    buying.Supplier: ("name",),
    buying.Order: ("number",),
    buying.Line: ("part__name", "words"),
    buying.Charge: ("words",),
    get_user_model(): ("first_name", "username"),
}
# Amounts that are not in the boat's currency: where theirs stands.
MONEY_IN: dict[tuple[type[models.Model], str], tuple[str, ...]] = {
    (buying.Line, "amount"): ("order__currency",),
    (buying.Charge, "amount"): ("currency",),
    (buying.Credit, "amount"): ("currency",),
    (buying.PaymentSplit, "settles"): ("order__currency", "charge__currency"),
}
# Worked out with each order line: when something of it last came, and what of its charges is expected only.
LAST_CAME = "last_came_on"
NOT_BILLED = "not_billed_yet"
# What is worth reading beside a row, although it stands on another sheet.
ALSO: dict[type[models.Model], tuple[tuple[str, str], ...]] = {
    stores.Movement: (("Happened on", "entry__happened_on"), ("Unit", "part__unit")),
    stores.Holding: (("Unit", "part__unit"),),
    buying.Line: (
        *(("Ordered on", "order__ordered_on"), ("Supplier", "order__supplier__name")),
        *(("Order state", "order__state"), ("Reference", "order__reference"), ("Rate", "order__rate")),
        *(("Expected on", "order__expected_on"), ("Order note", "order__note")),
        *(("Part retired at", "part__retired_at"), ("Place retired at", "place__retired_at")),
        *(("Weight of one, kg", "part__weight_kg"), ("Last came on", LAST_CAME)),
    ),
    buying.DeliveryLine: (("Arrived on", "delivery__arrived_on"), ("Order", "line__order__number")),
    buying.Share: (("Order", "line__order__number"),),
    buying.CreditShare: (("Order", "line__order__number"), ("Came on", "credit__came_on")),
    buying.ReturnLine: (("Order", "line__order__number"), ("Sent on", "back__sent_on")),
    buying.PaymentSplit: (("Paid on", "payment__paid_on"),),
}
# Where the column's own name would not be understood.
HEADINGS: dict[str, str] = {
    "area": "Area",
    "before": "To be done",
    "Correction.before": "Before",
    "by": "By",
    "came_on": "Money came on",
    "counted": "Stands in sums",
    "delivered": "Of it arrived",
    "effect": "Adds to the cost",
    "entry": "What was done",
    "goods": "Goods",
    "guess": "Guess",
    "home": "In the boat's money",
    "kept": "Kept",
    "landed": "Cost all in",
    "lot": "Batch",
    "refunded": "Money back",
    "said": "What was done",
    "wont_come": "Won't come",
    "back": "Sent back",
    "packs": "How many as sold",
    "pack_size": "Units in one as sold",
    "unit_price": "Price of one as sold",
    "sha256": "Digest (SHA-256)",
    "size": "Bytes",
    "web": "Web address",
    "words": "In words",
    "user": "Person",
    "where": "Whereabouts",
}


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
        currency = _first(*currencies)
        return None if minor is None or not currency else Amount(minor, str(currency))

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
