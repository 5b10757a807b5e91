"""What the buy list shows: its sieve, its groups, each row in words and figures that are ready, and the list as a file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from itertools import groupby
from typing import Any

from django import forms

from refit.boat.models import Boat, System
from refit.buying.models import Supplier
from refit.buying.to_buy import NOW, BuyRow, Filling, ToBuy, Urgency, Why
from refit.calc.numbers import format_quantity
from refit.pages.part_prices import QuoteRow, quote_rows
from refit.pages.templatetags.refit import cash
from refit.reports.workbook import Column, Kind
from refit.work.models import Job

HORIZONS = (("", "All"), ("7", "Order within 7 days"), ("30", "Order within 30 days"))
COLUMNS = (
    Column("What"),
    Column("Specification"),
    Column("Must fit"),
    Column("Why"),
    Column("Jobs"),
    Column("How many", Kind.NUMBER),
    Column("Unit"),
    Column("Wanted by", Kind.DATE),
    Column("Order by", Kind.DATE),
    Column("When"),
    Column("Days late", Kind.NUMBER),
    Column("Supplier"),
    Column("They ask"),
    Column("Packs", Kind.NUMBER),
    Column("All in", Kind.MONEY),
    Column("Here by", Kind.DATE),
)


class BuySieve(forms.Form):
    """What the list is narrowed to."""

    job = forms.ModelChoiceField(
        queryset=Job.objects.none(), label="For job", required=False, empty_label="Any"
    )
    system = forms.ModelChoiceField(
        queryset=System.objects.none(), label="System", required=False, empty_label="All"
    )
    supplier = forms.ModelChoiceField(
        queryset=Supplier.objects.none(), label="Who sells it", required=False, empty_label="Any"
    )
    horizon = forms.ChoiceField(choices=HORIZONS, label="When", required=False)

    def __init__(self, boat: Boat, data: Any) -> None:
        narrowed = {name: data[name] for name in ("job", "system", "supplier", "horizon") if data.get(name)}
        super().__init__(narrowed or None)
        for name, rows in (
            ("job", Job.objects.open().filter(boat=boat).order_by("number")),
            ("system", System.objects.filter(boat=boat).order_by("group", "name")),
            ("supplier", Supplier.objects.filter(boat=boat)),
        ):
            chooser: Any = self.fields[name]
            chooser.queryset = rows

    def narrow(self, rows: Iterable[BuyRow], today: Any) -> list[BuyRow]:
        """Return the rows that pass; a choice that is none narrows to nothing."""
        if not self.is_bound:
            return list(rows)
        if not self.is_valid():
            return []
        data = self.cleaned_data
        found = list(rows)
        if data["job"]:
            found = [row for row in found if data["job"] in row.jobs]
        if data["system"]:
            found = [row for row in found if data["system"].pk in _systems(row)]
        if data["supplier"]:
            found = [row for row in found if any(q.supplier == data["supplier"] for q in row.quotes)]
        if data["horizon"]:
            last = today + timedelta(days=int(data["horizon"]))
            found = [row for row in found if _is_due(row, last)]
        return found


@dataclass(frozen=True)
class Sieve:
    """What the piece for filters asks for."""

    form: BuySieve


@dataclass(frozen=True)
class Row:
    """One row as the page shows it."""

    row: BuyRow
    whys: list[str]
    best: QuoteRow | None
    others: list[QuoteRow]
    ticked: bool
    may_fill: bool = False
    chosen: str = ""  # the price that was chosen on a form that comes back

    @property
    def quotes(self) -> list[QuoteRow]:
        return [self.best, *self.others] if self.best else []


@dataclass
class Group:
    """Rows under one heading: how soon, or from whom."""

    title: str
    rows: list[Row] = field(default_factory=list)
    filling: Filling | None = None
    supplier: Supplier | None = None
    mark: str = ""

    @property
    def tick(self) -> str:
        """Return the word of an address that ticks what is due from this supplier, and what makes carriage free."""
        return f"s{self.supplier.pk}" if self.supplier else ""


def groups_of(found: ToBuy, rows: Sequence[BuyRow], *, by_supplier: bool, tick: str) -> list[Group]:
    """Return the rows in groups: by supplier, or as soon as they are to be ordered."""
    if by_supplier:
        return [_of_supplier(found, filling, some, tick) for filling, some in found.by_supplier(rows)]
    return [
        Group(urgency.words, [_shown(found, row, _is_ticked(row, tick)) for row in some], mark=_mark(urgency))
        for urgency, some in groupby(rows, key=lambda row: row.urgency)
    ]


def counts_of(rows: Iterable[BuyRow]) -> dict[str, int]:
    """Return how many rows there are of each urgency, by its name in small letters."""
    counts = {urgency.name.casefold(): 0 for urgency in Urgency}
    for row in rows:
        counts[row.urgency.name.casefold()] += 1
    counts["now"] = counts["late"] + counts["tonight"]
    return counts


def file_rows(found: ToBuy, rows: Iterable[BuyRow]) -> list[list[Any]]:
    """Return the rows as the values of the columns of the file."""
    return [_file_row(_shown(found, row, ticked=False)) for row in rows]


def filling_words(filling: Filling, boat: Boat) -> str:
    """Return what is to order now from a supplier, and how far it is from free carriage."""
    currency = filling.supplier.currency or boat.currency
    if not filling.now:
        return "Nothing of it is due yet"
    now = f"{cash(filling.now, currency)} of goods to order now"
    if filling.is_free:
        return f"{now}; carriage is free"
    if filling.missing is not None:
        return f"{now}; {cash(filling.missing, currency)} more and carriage is free"
    if filling.carriage is not None:
        return f"{now}; carriage {cash(filling.carriage, boat.currency)}, {filling.carriage_from}"
    return f"{now}; carriage is not known"


def _of_supplier(found: ToBuy, filling: Filling | None, rows: Sequence[BuyRow], tick: str) -> Group:
    if filling is None:
        return Group("Nobody is known to sell these", [_shown(found, row, ticked=False) for row in rows])
    fill = {row.key for row in filling.fill}
    ticks = tick == f"s{filling.supplier.pk}"
    shown = [
        _shown(
            found,
            row,
            ticked=_is_ticked(row, tick) or (ticks and (row.urgency in NOW or row.key in fill)),
            may_fill=row.key in fill,
        )
        for row in rows
    ]
    return Group(filling.supplier.name, shown, filling, filling.supplier)


def _is_ticked(row: BuyRow, tick: str) -> bool:
    return tick == "now" and row.urgency in NOW and row.best is not None


def _shown(found: ToBuy, row: BuyRow, ticked: bool, may_fill: bool = False) -> Row:
    rows = quote_rows(found.prices, row.quotes)
    return Row(row, _whys(row), rows[0] if rows else None, rows[1:], ticked, may_fill)


def _whys(row: BuyRow) -> list[str]:
    """Return why it is bought, for what has no job."""
    words = []
    for wish in row.wanted:
        if wish.why == Why.SPARE:
            words.append(f"spare, {format_quantity(wish.left)} {wish.why}")
        elif wish.why != Why.JOB:
            words.append(str(wish.why))
    return words


def _mark(urgency: Urgency) -> str:
    if urgency == Urgency.LATE:
        return "mark-stop"
    return "mark-warn" if urgency in (Urgency.TONIGHT, Urgency.ASK) else ""


def _systems(row: BuyRow) -> set[int]:
    own = {row.part.system_id} if row.part and row.part.system_id else set()
    return own | {job.system_id for job in row.jobs}


def _is_due(row: BuyRow, last: Any) -> bool:
    if row.urgency in (Urgency.LATE, Urgency.TONIGHT):
        return True
    if row.urgency == Urgency.ASK:
        return row.wanted_by is None or row.wanted_by <= last + timedelta(days=30)
    return row.order_by is not None and row.order_by <= last


def _file_row(shown: Row) -> list[Any]:
    row, best = shown.row, shown.best
    quote = best.quote if best else None
    return [
        row.what,
        row.part.specification if row.part else "",
        row.must_fit,
        "; ".join(shown.whys),
        "; ".join(f"{job.number} {job.title}" for job in row.jobs),
        row.to_buy,
        row.part.get_unit_display() if row.part else "",
        row.wanted_by,
        row.order_by,
        row.urgency.words,
        Decimal(row.late_days) if row.late_days else None,
        quote.supplier.name if quote else "",
        best.asked if best else "",
        quote.packs if quote else None,
        quote.all_in if quote else None,
        quote.here_on if quote else None,
    ]
