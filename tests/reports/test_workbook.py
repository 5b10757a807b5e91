from datetime import date, datetime
from decimal import Decimal
from io import BytesIO

import openpyxl
import pytest

from refit.reports.workbook import (
    Bars,
    Column,
    Kind,
    Sheet,
    clean,
    money_format,
    price_format,
    price_in,
    workbook,
)

# OWASP "CSV Injection" (www-community, commit 0e5e8f0) and CWE-1236: what must never run in a spreadsheet.
PAYLOADS = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1)",
    "\t=1",
    "\r=1",
    "\n=1",
    '=HYPERLINK("http://x/"&A1,"go")',
    "=cmd|'/c calc'!A1",
    "00123",
    '=1+2";=1+2',
    "=1+2'\" ;,=1+2",
    "#N/A",
    "#REF!",
    "TRUE",
    "2024-02-29",
    "1e3",
    " padded ",
]

AS_AT = date(2026, 3, 3)
IDENTITY = ("Kittiwake of Mylor", "official number 401 227")


def written(*sheets: Sheet, currency: str = "GBP", identity=IDENTITY) -> bytes:
    return workbook(sheets, currency, title="Test", identity=identity, as_at=AS_AT)


def opened(data: bytes):
    return openpyxl.load_workbook(BytesIO(data))


def page_of(*sheets: Sheet, currency: str = "GBP"):
    return opened(written(*sheets, currency=currency)).worksheets[0]


def texts(values, total=None) -> Sheet:
    return Sheet("Texts", [Column("Text")], [[value] for value in values], total=total)


def test_every_payload_comes_back_as_the_same_text():
    page = page_of(texts(PAYLOADS, total=["=1+1"]))
    cells = [page.cell(row, 1) for row in range(2, len(PAYLOADS) + 3)]
    assert [cell.value for cell in cells] == [*PAYLOADS, "=1+1"]
    # openpyxl calls a live formula "f" and an error value "e".
    assert {cell.data_type for cell in cells} == {"s"}
    assert all(cell.quotePrefix for cell in cells)


def test_a_payload_in_a_heading_stays_text():
    page = page_of(Sheet("Headings", [Column(text) for text in PAYLOADS], []))
    assert [cell.data_type for cell in page[1]] == ["s"] * len(PAYLOADS)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("a\x00b", "ab"),
        ("bell\x07\x1b[31m", "bell[31m"),
        ("half \ud800 pair", "half  pair"),
        ("non\ufffe\uffffcharacter", "noncharacter"),
        ("two\nlines\tand a tab", "two\nlines\tand a tab"),
        ("Ελλάδα Мотор Å 🜨", "Ελλάδα Мотор Å 🜨"),
        ("x" * 100_000, "x" * 32_767),
    ],
)
def test_what_a_spreadsheet_file_cannot_hold_is_left_out(text, kept):
    assert clean(text) == kept
    assert page_of(texts([text]))["A2"].value == kept


@pytest.mark.parametrize(
    ("currency", "minor", "value", "digits"),
    # ISO 4217 list one (2024-06-25), column MinorUnit: GBP 2, JPY 0, KWD 3, CLF 4.
    [
        ("GBP", 123456, 1234.56, "#,##0.00"),
        ("GBP", -1250, -12.5, "#,##0.00"),
        ("JPY", 123456, 123456, "#,##0"),
        ("KWD", 123456, 123.456, "#,##0.000"),
        ("CLF", 1, 0.0001, "#,##0.0000"),
    ],
)
def test_money_is_a_number_in_the_format_of_its_currency(currency, minor, value, digits):
    cell = page_of(Sheet("Money", [Column("Sum", Kind.MONEY)], [[minor]]), currency=currency)["A2"]
    assert (cell.value, cell.data_type) == (value, "n")
    positive, negative = cell.number_format.split(";")
    assert positive.rpartition("]")[2].strip() == digits
    assert negative == "-" + positive


def test_a_dollar_says_whose_it_is():
    assert money_format("AUD").startswith("[$A$]")
    assert money_format("USD").startswith("[$US$]")


def test_a_currency_without_minor_units_is_refused():
    with pytest.raises(ValueError, match="XAU"):
        written(Sheet("Money", [Column("Sum", Kind.MONEY)], [[1]]), currency="XAU")


@pytest.mark.parametrize("nothing", [0, None])
def test_no_money_is_nought_and_never_blank(nothing):
    page = page_of(Sheet("Money", [Column("Sum", Kind.MONEY)], [[nothing]], total=[nothing]))
    assert (page["A2"].value, page["A3"].value) == (0, 0)


@pytest.mark.parametrize(
    ("quantity", "value"),
    [
        (Decimal("12.000"), 12),
        (Decimal("0.125"), 0.125),
        (Decimal("-3"), -3),
        (Decimal("999999.999"), 999999.999),
    ],
)
def test_a_quantity_is_a_number_with_no_idle_point(quantity, value):
    cell = page_of(Sheet("Numbers", [Column("Quantity", Kind.NUMBER)], [[quantity]]))["A2"]
    assert (cell.value, cell.data_type, cell.number_format) == (value, "n", "General")


@pytest.mark.parametrize(
    ("price", "currency", "shape"),
    [
        (Decimal("12.500000"), "EUR", "#,##0.00"),
        (Decimal("0.0375"), "EUR", "#,##0.0000"),
        (Decimal("1200"), "JPY", "#,##0"),
        (Decimal("1E+3"), "SEK", "#,##0.00"),
        (Decimal(0), "KWD", "#,##0.000"),
    ],
)
def test_a_price_shows_its_own_places_and_at_least_its_currencys(price, currency, shape):
    kept = price_in(price, currency)
    assert kept == price
    assert price_format(kept) == shape


def test_a_date_is_a_date_and_a_blank_is_blank():
    # Microsoft's serial for 29 February 2024 is 45351; openpyxl reads it back as that day.
    page = page_of(Sheet("Dates", [Column("Day", Kind.DATE)], [[date(2024, 2, 29)], [None]]))
    assert page["A2"].is_date
    assert page["A2"].value == datetime(2024, 2, 29)  # noqa: DTZ001 - spreadsheets have no zones
    assert page["A3"].value is None


def test_a_sheet_is_ready_to_read_sort_and_print():
    sheet = Sheet("List", [Column("A"), Column("B", Kind.MONEY)], [["x", 1], ["y", 2]], total=["Total", 3])
    page = page_of(sheet)
    assert page.freeze_panes == "A2"
    assert page["A1"].font.bold
    assert page["B4"].font.bold
    # the total is the last row, and not among the rows that the filter sorts
    assert page.max_row == 4
    assert page.auto_filter.ref == "A1:B3"
    assert page.print_title_rows == "$1:$1"
    assert page.page_setup.orientation == "landscape"
    assert (page.page_setup.fitToWidth, page.page_setup.fitToHeight) == (1, 0)
    assert page.sheet_properties.pageSetUpPr.fitToPage
    assert page.oddFooter.left.text == "Kittiwake of Mylor · official number 401 227"
    assert page.oddFooter.right.text == "Page &P of &N"
    assert "As at 2026-03-03 · Prepared by the owner, not verified" in page.oddHeader.right.text


def test_a_name_with_an_ampersand_prints_as_itself():
    data = written(texts(["x"]), identity=("Salt & Sons",))
    assert opened(data).worksheets[0].oddFooter.left.text == "Salt && Sons"


def test_a_printed_footer_stays_inside_what_a_spreadsheet_allows():
    page = opened(written(texts(["x"]), identity=("long " * 100,))).worksheets[0]
    # Microsoft's limit for a header or footer is 255 characters
    assert len(str(page.oddFooter)) <= 255
    assert len(str(page.oddHeader)) <= 255


def test_the_chart_lies_under_the_table_and_spans_its_rows_only():
    sheet = Sheet(
        "Bars",
        [Column("Name"), Column("Had", Kind.MONEY), Column("Used", Kind.MONEY)],
        [["a", 1, 2], ["b", 3, 4]],
        total=["Total", 4, 6],
        bars=Bars("Used against had", "Name", ("Had", "Used")),
    )
    page = page_of(sheet)
    (chart,) = page._charts
    assert page.max_row == 4
    assert chart.anchor._from.row >= 5
    assert [series.val.numRef.f for series in chart.series] == ["'Bars'!$B$2:$B$3", "'Bars'!$C$2:$C$3"]


def test_a_note_hangs_on_the_first_heading():
    page = page_of(Sheet("Noted", [Column("A")], [["x"]], note="Only job 12"))
    assert page["A1"].comment.text == "Only job 12"


def test_the_same_list_gives_the_same_bytes():
    sheet = texts(PAYLOADS)
    assert written(sheet) == written(sheet)
    assert opened(written(sheet)).properties.modified.date() == AS_AT
