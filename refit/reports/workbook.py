"""Spreadsheets that say exactly what the record says.

Decides how a value lands in a cell: text is always text (nothing a spreadsheet would run, no lost leading
zeros), money is a number in the currency's format, a date is a date. Decides how a sheet looks and prints.
Does not decide which rows or columns there are, and adds nothing up.
"""

import enum
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from io import BytesIO
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from babel.numbers import get_currency_symbol
from openpyxl import Workbook
from openpyxl.chart import BarChart, Reference
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.writer.excel import ExcelWriter

from refit.calc.money import from_minor, minor_digits

NOT_VERIFIED = "Prepared by the owner, not verified"
DATE_FORMAT = "yyyy-mm-dd"
CELL_LIMIT = 32_767  # characters a spreadsheet cell can hold
FOOTER_LIMIT = 110  # three parts of a printed header or footer share 255 characters

# What XML 1.0 cannot hold: control characters, halves of surrogate pairs, the two noncharacters.
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

# Named in full: a font without name and size is drawn in whatever the reader likes.
_BOLD = Font(name="Calibri", size=11, family=2, scheme="minor", bold=True)
_UNDERLINE = Border(bottom=Side(style="medium"))
_OVERLINE = Border(top=Side(style="medium"))
_TEXT = Alignment(vertical="top", wrap_text=True)
_FIGURE = Alignment(vertical="top", horizontal="right")


class Kind(enum.Enum):
    """Name what a column holds and so how its values are given.

    TEXT str; MONEY whole minor units of the workbook's currency (int; None is 0, never blank); NUMBER and
    PRICE Decimal (a price shows the places it carries); DATE date. None leaves the others blank.
    """

    TEXT = "text"
    MONEY = "money"
    NUMBER = "number"
    PRICE = "price"
    DATE = "date"


@dataclass(frozen=True)
class Column:
    """Describe one column; a width of None fits it to what it holds."""

    heading: str
    kind: Kind = Kind.TEXT
    width: float | None = None


@dataclass(frozen=True)
class Bars:
    """Ask for a bar chart under the table: one bar for each named heading, for each row."""

    title: str
    label: str
    headings: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """Describe one sheet; a total is its last row, a note hangs on its first heading."""

    title: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Any]]
    total: Sequence[Any] | None = None
    bars: Bars | None = None
    note: str = ""


def clean(text: str) -> str:
    """Return the text without the characters that a spreadsheet file cannot hold."""
    return _NOT_XML.sub("", text)[:CELL_LIMIT]


def money_format(currency: str) -> str:
    """Return the number format of a currency: its sign, its minor digits, a minus for what came back."""
    digits = minor_digits(currency)
    sign = get_currency_symbol(currency, locale="en_GB")
    # A sign of letters (KWD) needs room before the figure; £ does not.
    gap = " " if sign[-1].isalpha() else ""
    figure = f"[${sign}]{gap}#,##0" + ("." + "0" * digits if digits else "")
    return f"{figure};-{figure}"


def price_format(price: Decimal) -> str:
    """Return the number format that shows a price to the places it carries."""
    places = _places(price)
    return "#,##0" + ("." + "0" * places if places else "")


def price_in(price: Decimal, currency: str) -> Decimal:
    """Return the price with no idle zeros beyond the minor digits of its currency."""
    plain = price.normalize()
    places = max(minor_digits(currency), _places(plain))
    return plain.quantize(Decimal(1).scaleb(-places))


def workbook(
    sheets: Iterable[Sheet],
    currency: str,
    *,
    title: str,
    identity: Sequence[str],
    as_at: date,
    subject: str = "",
) -> bytes:
    """Write the sheets as one xlsx file; the same input gives the same bytes.

    `identity` is the boat's identity, a line each; `as_at` is the boat's own date. ValueError for a currency
    without minor units.
    """
    book = Workbook()
    book.remove(book.active)
    formats = {Kind.MONEY: money_format(currency), Kind.DATE: DATE_FORMAT}
    named = " · ".join(clean(line) for line in identity)
    for sheet in sheets:
        page = book.create_sheet(sheet.title)
        _fill(page, sheet, currency, formats)
        _arrange(page, sheet)
        _set_up_print(page, title, named, as_at)
        if sheet.bars and sheet.rows:
            _draw(page, sheet, sheet.bars)
    stamp = datetime.combine(as_at, time())
    book.properties.title = clean(title)
    book.properties.creator = named
    book.properties.subject = clean(subject)
    book.properties.description = NOT_VERIFIED
    book.properties.created = book.properties.modified = stamp
    return _packed(book, stamp)


def _fill(page: Any, sheet: Sheet, currency: str, formats: Mapping[Kind, str]) -> None:
    for at, column in enumerate(sheet.columns, 1):
        cell = page.cell(1, at)
        _set_text(cell, column.heading)
        cell.font, cell.border = _BOLD, _UNDERLINE
        right = "left" if column.kind in (Kind.TEXT, Kind.DATE) else "right"
        cell.alignment = Alignment(vertical="bottom", wrap_text=True, horizontal=right)
    for row, values in enumerate(sheet.rows, 2):
        for at, (column, value) in enumerate(zip(sheet.columns, values, strict=True), 1):
            _set(page.cell(row, at), column.kind, value, currency, formats)
    if sheet.total is not None:
        row = len(sheet.rows) + 2
        for at, (column, value) in enumerate(zip(sheet.columns, sheet.total, strict=True), 1):
            cell = page.cell(row, at)
            # The word "Total" may stand in a column of dates; every figure keeps its column's kind.
            _set(cell, Kind.TEXT if isinstance(value, str) else column.kind, value, currency, formats)
            cell.font, cell.border = _BOLD, _OVERLINE


def _set(cell: Any, kind: Kind, value: Any, currency: str, formats: Mapping[Kind, str]) -> None:
    if kind is Kind.MONEY:
        cell.value = from_minor(value or 0, currency)
        cell.number_format = formats[kind]
        cell.alignment = _FIGURE
    elif value is None:
        return
    elif kind is Kind.TEXT:
        _set_text(cell, str(value))
    elif kind is Kind.DATE:
        cell.value = value
        cell.number_format = formats[kind]
        cell.alignment = Alignment(vertical="top", horizontal="left")
    else:
        # General shows 12 as 12 and 0.125 as 0.125: any fixed pattern leaves a bare point or hides a place.
        cell.value = _plain(value)
        cell.number_format = price_format(value) if kind is Kind.PRICE else "General"
        cell.alignment = _FIGURE


def _set_text(cell: Any, text: str) -> None:
    cleaned = clean(text)
    if not cleaned:
        return
    cell.value = cleaned
    # The library takes "=..." for a formula and "#N/A" for an error when the value is set, so the type comes
    # after it; the quote prefix keeps it text when a person edits the cell.
    cell.data_type = "s"
    cell.quotePrefix = True
    cell.alignment = _TEXT


def _arrange(page: Any, sheet: Sheet) -> None:
    page.freeze_panes = "A2"
    last = get_column_letter(len(sheet.columns))
    # The total stays out of the filter, or sorting would carry it into the rows.
    page.auto_filter.ref = f"A1:{last}{len(sheet.rows) + 1}"
    for at, column in enumerate(sheet.columns, 1):
        page.column_dimensions[get_column_letter(at)].width = column.width or _fitted(sheet, at - 1)
    if sheet.note:
        note = Comment(clean(sheet.note), "refit", height=90, width=320)
        page["A1"].comment = note


def _fitted(sheet: Sheet, at: int) -> float:
    kind = sheet.columns[at].kind
    # The filter's arrow takes room beside the heading.
    heading = len(sheet.columns[at].heading) + 4
    if kind is Kind.DATE:
        return max(heading, 12)
    lines = [*sheet.rows, *([sheet.total] if sheet.total is not None else [])]
    longest = max((len(str(row[at])) for row in lines if row[at] is not None), default=0)
    if kind is Kind.MONEY:
        # sign, point and the commas between thousands
        longest += 4 + longest // 3
    return min(max(heading, longest + 2, 8), 48)


def _set_up_print(page: Any, title: str, identity: str, as_at: date) -> None:
    page.page_setup.orientation = "landscape"
    page.page_setup.paperSize = page.PAPERSIZE_A4
    page.page_setup.fitToWidth = 1
    page.page_setup.fitToHeight = 0
    page.sheet_properties.pageSetUpPr.fitToPage = True
    page.print_title_rows = "1:1"
    page.print_options.gridLines = False
    page.page_margins.left = page.page_margins.right = 0.5
    page.oddHeader.left.text = _printed(f"{title}: {page.title}")
    page.oddHeader.right.text = _printed(f"As at {as_at.isoformat()} · {NOT_VERIFIED}")
    page.oddFooter.left.text = _printed(identity)
    page.oddFooter.right.text = "Page &P of &N"


def _printed(text: str) -> str:
    # An ampersand begins a code in printed headers; two print one.
    return " ".join(clean(text).split())[:FOOTER_LIMIT].replace("&", "&&")


def _draw(page: Any, sheet: Sheet, bars: Bars) -> None:
    headings = [column.heading for column in sheet.columns]
    last = len(sheet.rows) + 1
    chart = BarChart()
    chart.type = "bar"
    chart.title = bars.title
    chart.style = 10
    for heading, (fill, line) in zip(
        bars.headings, (("D7DEDB", "44525C"), ("0B4F4A", "0B4F4A")), strict=False
    ):
        at = headings.index(heading) + 1
        chart.add_data(Reference(page, min_col=at, min_row=1, max_row=last), titles_from_data=True)
        chart.series[-1].graphicalProperties.solidFill = fill
        chart.series[-1].graphicalProperties.line.solidFill = line
    label = headings.index(bars.label) + 1
    chart.set_categories(Reference(page, min_col=label, min_row=2, max_row=last))
    # The first row on top, as in the table.
    chart.x_axis.scaling.orientation = "maxMin"
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.legend.position = "t"
    chart.gapWidth = 40
    chart.width, chart.height = 27, max(7.5, 3 + 0.8 * len(sheet.rows))
    # Below the table: beside it, fitting to the width would print the figures too small to read.
    page.add_chart(chart, f"A{last + (2 if sheet.total is None else 3)}")


def _packed(book: Workbook, stamp: datetime) -> bytes:
    written = BytesIO()
    # The library's own save() stamps the present moment; writing through its writer keeps ours.
    with ZipFile(written, "w", ZIP_DEFLATED) as archive:
        ExcelWriter(book, archive).save()
    packed = BytesIO()
    moment = max(stamp, datetime(1980, 1, 1)).timetuple()[:6]  # noqa: DTZ001 - a zip's clock has no zone
    with ZipFile(written) as source, ZipFile(packed, "w", ZIP_DEFLATED) as archive:
        for name in source.namelist():
            archive.writestr(ZipInfo(name, moment), source.read(name), ZIP_DEFLATED)
    return packed.getvalue()


def _plain(value: Decimal | int) -> Decimal | int:
    number = Decimal(value)
    return int(number) if number == number.to_integral_value() else number


def _places(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0
