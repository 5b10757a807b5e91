import csv
from datetime import date
from decimal import Decimal
from io import BytesIO, StringIO

import openpyxl
import pytest

from refit.reports.tables import TableExport, harmless, table_csv, table_xlsx
from refit.reports.workbook import Column, Kind
from tests.reports.test_workbook import PAYLOADS

AS_AT = date(2026, 3, 3)
COLUMNS = [
    Column("Part"),
    Column("Number"),
    Column("Cost", Kind.MONEY),
    Column("Quantity", Kind.NUMBER),
    Column("Price", Kind.PRICE),
    Column("Day", Kind.DATE),
]
ROW = ["Shackle", "00123", -1250, Decimal("-2.500"), Decimal("11.25"), date(2026, 1, 14)]


def export(*rows, title="Parts") -> TableExport:
    return TableExport(title, COLUMNS, rows)


def read_csv(data: bytes) -> list[list[str]]:
    return list(csv.reader(StringIO(data.decode("utf-8-sig"), newline="")))


def page_of(table: TableExport):
    data = table_xlsx(table, "GBP", identity=("Kittiwake of Mylor",), as_at=AS_AT)
    return openpyxl.load_workbook(BytesIO(data)).worksheets[0]


def test_csv_opens_as_utf8_with_rfc_4180_lines():
    data = table_csv(export(ROW), "GBP")
    assert data.startswith(b"\xef\xbb\xbf")
    assert data.count(b"\r\n") == 2
    assert read_csv(data) == [
        ["Part", "Number", "Cost", "Quantity", "Price", "Day"],
        ["Shackle", "00123", "-12.50", "-2.500", "11.25", "2026-01-14"],
    ]


def test_nothing_in_a_csv_would_run_and_no_field_opens_another():
    # OWASP "CSV Injection" (commit 0e5e8f0): no cell begins with = + - @ tab CR LF.
    data = table_csv(export(*[[text, text, 0, None, None, None] for text in PAYLOADS]), "GBP")
    rows = read_csv(data)
    assert {len(row) for row in rows} == {len(COLUMNS)}
    for text, row in zip(PAYLOADS, rows[1:], strict=True):
        assert row[:2] == ["'" + text if text[0] in "=+-@\t\r\n" else text] * 2
        assert row[2:] == ["0.00", "", "", ""]


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        # the two vectors of OWASP's page
        ('=1+2";=1+2', "'=1+2\";=1+2"),
        ("=1+2'\" ;,=1+2", "'=1+2'\" ;,=1+2"),
        ("\x00=1", "'=1"),
        ("＝1+1", "'＝1+1"),
        ("-12.50", "'-12.50"),
        ("A-1", "A-1"),
        ("", ""),
    ],
)
def test_text_is_made_harmless(text, kept):
    assert harmless(text) == kept


def test_owasps_vector_is_written_as_owasp_writes_it():
    data = table_csv(TableExport("T", [Column("A")], [['=1+2";=1+2']]), "GBP").decode("utf-8-sig")
    assert data.splitlines()[1] == '"\'=1+2"";=1+2"'


def test_a_heading_is_made_harmless_too():
    data = table_csv(TableExport("T", [Column("=1+1")], []), "GBP")
    assert read_csv(data) == [["'=1+1"]]


@pytest.mark.parametrize(("currency", "shown"), [("JPY", "-1250"), ("KWD", "-1.250"), ("GBP", "-12.50")])
def test_csv_money_has_the_digits_of_its_currency(currency, shown):
    # ISO 4217 list one (2024-06-25), column MinorUnit
    assert read_csv(table_csv(export(ROW), currency))[1][2] == shown


def test_xlsx_holds_the_same_rows_as_their_kinds():
    page = page_of(export(ROW))
    values = [cell.value for cell in page[2]]
    assert values[:5] == ["Shackle", "00123", -12.5, -2.5, 11.25]
    assert [cell.data_type for cell in page[2]] == ["s", "s", "n", "n", "n", "d"]
    assert page.max_row == 2


def test_xlsx_gives_every_payload_back():
    page = page_of(export(*[[text, text, 0, None, None, None] for text in PAYLOADS]))
    assert [page.cell(row, 2).value for row in range(2, len(PAYLOADS) + 2)] == PAYLOADS
    assert not [cell for row in page.iter_rows() for cell in row if cell.data_type in "fe"]


@pytest.mark.parametrize(
    ("title", "kept"),
    [("Parts: all / used", "Parts all used"), ("x" * 60, "x" * 31), ("[*]", "List"), ("'Parts'", "Parts")],
)
def test_any_title_makes_a_sheets_name(title, kept):
    assert page_of(export(ROW, title=title)).title == kept


def test_an_empty_list_has_its_headings():
    assert read_csv(table_csv(export(), "GBP")) == [[column.heading for column in COLUMNS]]
    assert [cell.value for cell in page_of(export())[1]] == [column.heading for column in COLUMNS]
