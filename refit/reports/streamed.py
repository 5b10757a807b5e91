"""Whole records as files, written row by row so that a long record takes no more memory than a short one.

Decides how a value lands in a cell of a workbook or a field of a csv: text is always text, an amount is a number in
its own currency, a day is a day. Does not decide which sheets or columns there are.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from io import StringIO
from itertools import chain, islice
from typing import Any, BinaryIO
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.writer.excel import ExcelWriter

from refit.calc.money import from_minor
from refit.reports.tables import harmless
from refit.reports.workbook import DATE_FORMAT, NOT_VERIFIED, clean, money_format

HOUR_FORMAT = "yyyy-mm-dd hh:mm:ss"
MOST_ROWS = 1_048_575  # rows below the headings that one sheet of an xlsx file can hold
LOOKED_AT = 200  # rows that a column's width is fitted to
A_CHUNK = 1 << 16


@dataclass(frozen=True)
class Amount:
    """Money: whole minor units and the currency that they are of."""

    minor: int
    currency: str


Value = str | int | Decimal | date | datetime | Amount | None


@dataclass(frozen=True)
class Running:
    """A sheet whose rows are only read as they are written."""

    title: str
    headings: Sequence[str]
    rows: Iterable[Sequence[Value]]


@dataclass(frozen=True)
class Member:
    """A file in a zip: its name, its content in chunks, and when it is dated."""

    name: str
    chunks: Iterable[bytes]
    packed: bool = True  # a picture is packed already


def write_book(
    out: BinaryIO, sheets: Iterable[Running], *, title: str, identity: Sequence[str], as_at: date
) -> None:
    """Write the sheets into an xlsx file. A sheet with more rows than one can hold runs on in a second."""
    book = Workbook(write_only=True)
    for sheet in sheets:
        rows = iter(sheet.rows)
        number = 1
        while (first := next(rows, None)) is not None or number == 1:
            some = chain([first], islice(rows, MOST_ROWS - 1)) if first is not None else iter(())
            _fill(book, f"{sheet.title} {number}" if number > 1 else sheet.title, sheet.headings, some)
            number += 1
    stamp = datetime.combine(as_at, time())
    book.properties.title = clean(title)
    book.properties.creator = " · ".join(clean(line) for line in identity)
    book.properties.description = NOT_VERIFIED
    book.properties.created = book.properties.modified = stamp
    with ZipFile(out, "w", ZIP_DEFLATED) as archive:
        ExcelWriter(book, archive).save()


def _fill(book: Any, title: str, headings: Sequence[str], rows: Iterator[Sequence[Value]]) -> None:
    page = book.create_sheet(title)
    seen = list(islice(rows, LOOKED_AT))
    for at, heading in enumerate(headings):
        longest = max((len(_shown(row[at])) for row in seen), default=0)
        page.column_dimensions[get_column_letter(at + 1)].width = min(max(len(heading), longest, 6) + 3, 48)
    page.freeze_panes = "A2"
    cells = _Cells(page)
    page.append([cells.heading(word) for word in headings])
    count = 0
    for row in chain(seen, rows):
        page.append([cells.of(value) for value in row])
        count += 1
    page.auto_filter.ref = f"A1:{get_column_letter(len(headings))}{count + 1}"
    page.close()


class _Cells:
    """Makes the cells of one sheet; each look is worked out once and worn by every cell of its kind."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.looks: dict[str, Any] = {}

    def of(self, value: Value) -> Any:
        """Return a cell with the value, or None for an empty one."""
        if value is None or value == "":
            return None
        if isinstance(value, str):
            return self._text(value, "text")
        if isinstance(value, Amount):
            return self._cell(from_minor(value.minor, value.currency), money_format(value.currency))
        if isinstance(value, datetime):
            return self._cell(value, HOUR_FORMAT)
        if isinstance(value, date):
            return self._cell(value, DATE_FORMAT)
        return self._cell(value, "General")

    def heading(self, text: str) -> Any:
        """Return a cell of the first row."""
        return self._text(text, "heading")

    def _text(self, text: str, look: str) -> Any:
        cleaned = clean(text)
        if not cleaned:
            return None
        cell = WriteOnlyCell(self.page, value=cleaned)
        # The library takes "=..." for a formula when the value is set, so the type comes after it.
        cell.data_type = "s"
        if look not in self.looks:
            cell.quotePrefix = True
            if look == "heading":
                cell.font = Font(name="Calibri", size=11, family=2, scheme="minor", bold=True)
                cell.border = Border(bottom=Side(style="medium"))
            self.looks[look] = cell._style
        cell._style = self.looks[look]
        return cell

    def _cell(self, value: Any, number_format: str) -> Any:
        cell = WriteOnlyCell(self.page, value=value)
        if number_format not in self.looks:
            cell.number_format = number_format
            self.looks[number_format] = cell._style
        cell._style = self.looks[number_format]
        return cell


def csv_chunks(sheet: Running) -> Iterator[bytes]:
    """Yield the sheet as csv (RFC 4180, UTF-8 with its mark), every field quoted, text kept from running."""
    out = StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    yield "\ufeff".encode()
    writer.writerow([harmless(word) for word in sheet.headings])
    for row in sheet.rows:
        writer.writerow([_field(value) for value in row])
        if out.tell() > A_CHUNK:
            yield _taken(out)
    yield _taken(out)


def zip_chunks(members: Iterable[Member], as_at: date) -> Iterator[bytes]:
    """Yield a zip file of the members as it is written; nothing of it is kept."""
    sink = _Sink()
    moment = max(as_at, date(1980, 1, 1)).timetuple()[:6]
    with ZipFile(sink, "w", ZIP_DEFLATED) as archive:  # type: ignore[call-overload]
        for member in members:
            facts = ZipInfo(member.name, moment)
            facts.compress_type = ZIP_DEFLATED if member.packed else ZIP_STORED
            facts.external_attr = 0o600 << 16
            with archive.open(facts, "w", force_zip64=True) as into:
                for chunk in member.chunks:
                    into.write(chunk)
                    yield sink.taken()
    yield sink.taken()


class _Sink:
    """Where a zip is written to: it holds what was written until it is taken."""

    def __init__(self) -> None:
        self.held: list[bytes] = []

    def write(self, data: bytes) -> int:
        self.held.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Hold nothing back: there is nothing to do."""

    def taken(self) -> bytes:
        """Return what was written since the last time."""
        held, self.held = self.held, []
        return b"".join(held)


def _field(value: Value) -> str:
    return harmless(value) if isinstance(value, str) else _shown(value)


def _shown(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, Amount):
        return f"{from_minor(value.minor, value.currency):f}"
    if isinstance(value, datetime):
        return value.isoformat(" ", "seconds")
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _taken(out: StringIO) -> bytes:
    data = out.getvalue().encode()
    out.seek(0)
    out.truncate()
    return data
