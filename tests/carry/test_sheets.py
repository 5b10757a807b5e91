"""Reading spreadsheets from outside: what people's files hold, and what hostile ones try."""

import io
import time
import tracemalloc
import zipfile
from datetime import date, datetime
from decimal import Decimal

import pytest
from openpyxl import Workbook

from refit.calc.numbers import DayProblem, NumberProblem
from refit.carry.sheets import values, xlsx
from refit.carry.sheets.book import BLANK_ROWS, SheetProblem, letter
from refit.carry.sheets.read import read
from tests.carry import books

D = Decimal
SHEET = "xl/worksheets/sheet1.xml"


def cells(data: bytes, name: str = "a.csv") -> list[tuple]:
    return [row.cells for row in read(data, name).sheets[0].rows]


def refused(data: bytes, name: str = "a.xlsx") -> str:
    with pytest.raises(SheetProblem) as problem:
        read(data, name)
    return problem.value.code


# Text: encodings and separators


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_usual_encodings_are_read(encoding):
    """A name with an accent comes out as it went in."""
    text = "Name;Place\r\nDuvét für Koje;Forepeak\r\nSchäkel 8 mm;Mast\r\n"
    assert cells(text.encode(encoding))[1:] == [("Duvét für Koje", "Forepeak"), ("Schäkel 8 mm", "Mast")]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_found(separator):
    """The one that cuts every line alike, also where a price holds a comma."""
    rows = [["Item", "Qty", "Price"], ["Rope, 12 mm", "3", "4,50"], ["Block", "1", "18,20"]]
    text = "\n".join(separator.join(f'"{cell}"' for cell in row) for row in rows)
    assert cells(text.encode()) == [tuple(row) for row in rows]


def test_a_decimal_comma_does_not_make_the_comma_the_separator():
    assert cells(b"Item;Qty;Price\nRope;3;4,50\nBlock;1;18,20\n")[1] == ("Rope", "3", "4,50")


def test_a_line_that_names_the_separator_is_believed_and_counted():
    """`sep=` is a line of the file: rows are numbered as the spreadsheet numbers them."""
    rows = read(b"sep=|\nItem|Qty\nRope|1\n", "a.csv").sheets[0].rows
    assert [(row.number, row.cells) for row in rows] == [(2, ("Item", "Qty")), (3, ("Rope", "1"))]


def test_quotes_line_ends_and_blank_lines():
    rows = read(b'Item,Note\n\n"Rope","two\nlines"\n', "a.csv").sheets[0].rows
    assert rows[1].cells == ("Rope", "two lines")


@pytest.mark.parametrize("text", ["=1+1", "+44 20", "-2", "@SUM(A1)"])
def test_the_quote_that_our_csv_sets_before_a_formula_comes_off(text):
    """What was exported harmless is imported as it was (OWASP, CSV Injection)."""
    from refit.reports.tables import harmless

    assert cells(f'"Name"\r\n"{harmless(text)}"\r\n'.encode())[1] == (text,)


def test_what_nobody_sees_is_taken_off():
    assert cells("Name\n\u202eRope\u200b\u00a0 x\n".encode())[1] == ("Rope x",)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"  \r\n\r\n", "empty"),
        (b"%PDF-1.7 ...", "pdf"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old"),
        (b"\x89PNG\r\n\x1a\n1234", "picture"),
        (b"\xff\xd8\xff\xe0abc", "picture"),
        (bytes(range(1, 32)) * 200, "not_text"),
    ],
)
def test_what_is_no_spreadsheet_is_refused_whatever_its_name(data, code):
    assert refused(data, "refit.xlsx") == code


def test_a_file_over_the_limit_is_refused(monkeypatch):
    monkeypatch.setattr("refit.carry.sheets.read.MOST_BYTES", 20)
    assert refused(b"a,b\n" * 10, "a.csv") == "too_large"


@pytest.mark.parametrize(
    "data",
    [
        b"x" * (50 * 1024 * 1024),
        b"x," * (25 * 1024 * 1024),
    ],
    ids=["one word", "many columns"],
)
def test_one_line_of_fifty_megabytes_is_refused(data):
    assert refused(data, "a.csv") == "too_large"


@pytest.mark.parametrize(
    ("start", "piece", "code"),
    [
        (b"", b"x", "long_row"),
        (b"", b"x,", "long_row"),
        (b"", b'"\n",', "long_row"),
        (b'"', b"x\n", "broken"),
    ],
    ids=["one word", "many columns", "columns over lines", "a quote that never ends"],
)
def test_one_row_that_fills_the_file_is_refused_before_it_is_taken_apart(start, piece, code):
    """20 MB that would become ten million cells: Python's own memory stays near the size of the file."""
    data = b"Item,Qty\n" + start + piece * (20 * 1024 * 1024 // len(piece))
    tracemalloc.start()
    try:
        assert refused(data, "a.csv") == code
        assert tracemalloc.get_traced_memory()[1] < 8 * len(data)
    finally:
        tracemalloc.stop()


def test_a_nul_byte_among_words_is_taken_off():
    rows = cells(b"Item,Qty\nRo\x00pe,3\n" + b"Shackle of steel,4\n" * 40)
    assert rows[1:3] == [("Rope", "3"), ("Shackle of steel", "4")]


def test_a_file_full_of_nul_bytes_is_no_text():
    assert refused(b"Item,Qty\nRope,3\x00\x00\x00\n" * 5, "a.csv") == "not_text"


def test_nothing_but_nul_bytes_is_empty():
    assert refused(b"\x00" * 5000, "a.csv") == "empty"


def test_characters_that_no_encoding_has_do_not_stop_it():
    """Windows-1252 has holes (0x81): what is in one comes as a mark, and the other cells are as they were."""
    rows = cells(b"Name;Place\nSch\xe4kel;Mast\nBad\x81;Bilge\n")
    assert rows[1:] == [("Schäkel", "Mast"), ("Bad\ufffd", "Bilge")]


# xlsx


def test_cells_of_every_kind():
    """Numbers are exact, days are days, yes is yes, and a number with an idle tail is what the screen shows."""
    noon = datetime(2026, 3, 9, 12)  # noqa: DTZ001 - a spreadsheet's clock has no zone
    data = books.xlsx({"A": [["x", 3, 0.1 + 0.2, date(2026, 3, 9), noon, True, None, "  a  b "]]})
    assert cells(data, "a.xlsx") == [
        ("x", D(3), D("0.3"), date(2026, 3, 9), date(2026, 3, 9), "yes", None, "a b")
    ]


def test_days_counted_from_1904_are_the_same_days():
    book = read(books.xlsx({"A": [["When"], [date(2026, 3, 9)]]}, epoch_1904=True), "a.xlsx")
    assert book.date_1904
    assert book.sheets[0].rows[1].cells == (date(2026, 3, 9),)
    assert any("1904" in note for note in book.notes)


def test_several_sheets_and_titles():
    book = read(books.xlsx({"Suppliers": [["Name"]], "Empty": [], "Parts": [["Part"]]}), "a.xlsx")
    assert [sheet.title for sheet in book.sheets] == ["Suppliers", "Parts"]


def formulas(cell: str) -> bytes:
    data = books.xlsx({"A": [["Item", "Price"], ["Rope", 1]]})
    sheet = books.part(data, SHEET)
    assert b'<c r="B2" t="n"><v>1</v></c>' in sheet
    return books.with_part(data, SHEET, sheet.replace(b'<c r="B2" t="n"><v>1</v></c>', cell.encode()))


def test_of_a_formula_the_stored_value_is_taken_and_a_note_says_so():
    book = read(formulas('<c r="B2"><f>2*4.5</f><v>9</v></c>'), "a.xlsx")
    assert book.sheets[0].rows[1].cells == ("Rope", D(9))
    assert book.notes == ["1 cells hold formulas; the values stored with them were taken."]


def test_a_formula_without_a_stored_value_is_empty_and_a_note_says_so():
    book = read(formulas('<c r="B2"><f>2*4.5</f><v></v></c>'), "a.xlsx")
    assert book.sheets[0].rows[1].cells == ("Rope",)
    assert any("no value stored" in note for note in book.notes)


def test_a_formulas_error_stands_as_its_word():
    book = read(formulas('<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v></c>'), "a.xlsx")
    assert book.sheets[0].rows[1].cells == ("Rope", "#DIV/0!")


def test_merged_words_count_for_each_row_and_figures_for_the_first():
    """A merged price must not be counted twice; a merged supplier is everyone's."""
    book = Workbook()
    page = book.active
    for row in [["Shop", "Item", "Price"], ["North", "Rope", 12], [None, "Block", None], ["South", "Pin", 3]]:
        page.append(row)
    page.merge_cells("A2:A3")
    page.merge_cells("C2:C3")
    found = read(books.saved(book), "a.xlsx")
    assert [row.cells for row in found.sheets[0].rows[1:]] == [
        ("North", "Rope", D(12)),
        ("North", "Block"),
        ("South", "Pin", D(3)),
    ]
    assert any("merged" in note for note in found.notes)


def test_macros_are_left_alone_with_a_note():
    data = books.with_part(books.xlsx({"A": [["Name"], ["Rope"]]}), "xl/vbaProject.bin", b"\x00macro")
    assert any("macros" in note for note in read(data, "a.xlsm").notes)


def test_a_million_blank_rows_are_not_read_through():
    """Reading stops after a thousand empty rows; the note says where."""
    data = books.xlsx({"A": [["Name"], ["Rope"]]})
    blank = b"".join(b'<row r="%d"><c r="A%d" s="0"/></row>' % (n, n) for n in range(3, 1_000_001))
    sheet = books.part(data, SHEET).replace(b"</sheetData>", blank + b"</sheetData>")
    book = read(books.with_part(data, SHEET, sheet), "a.xlsx")
    assert [row.cells for row in book.sheets[0].rows] == [("Name",), ("Rope",)]
    assert book.notes == [f"A: reading stopped after {BLANK_ROWS:,} empty rows, at row 1,002."]


def test_a_row_far_away_is_not_reached_through_a_million_gaps():
    data = books.xlsx({"A": [["Name"], ["Rope"]]})
    far = b'<row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>far</t></is></c></row></sheetData>'
    sheet = books.part(data, SHEET).replace(b"</sheetData>", far)
    book = read(books.with_part(data, SHEET, sheet), "a.xlsx")
    assert len(book.sheets[0].rows) == 2


def test_a_false_dimension_is_not_believed():
    data = books.xlsx({"A": [["Name"], ["Rope"]]})
    sheet = books.part(data, SHEET).replace(b'ref="A1:A2"', b'ref="A1:XFD1048576"')
    assert b"XFD" in sheet
    assert cells(books.with_part(data, SHEET, sheet), "a.xlsx") == [("Name",), ("Rope",)]


def test_a_zip_bomb_is_refused_before_it_is_unpacked():
    """64 MB of blanks pack to 64 kB: the ratio alone gives it away."""
    data = books.xlsx({"A": [["Name"]]})
    bomb = books.with_part(data, SHEET, b"<worksheet><sheetData>" + b" " * (64 * 1024 * 1024))
    assert len(bomb) < 200_000
    assert refused(bomb) == "bomb"


def test_a_bomb_that_says_it_is_small_is_refused_too():
    """The size in a zip's directory is only said; what unpacks is counted."""
    data = books.xlsx({"A": [["Name"]]})
    bomb = bytearray(books.with_part(data, SHEET, b" " * (20 * 1024 * 1024)))
    with zipfile.ZipFile(io.BytesIO(bytes(bomb))) as archive:
        size = archive.getinfo(SHEET).file_size.to_bytes(4, "little")
    lying = bytes(bomb).replace(size, (1000).to_bytes(4, "little"))
    assert lying != bytes(bomb)
    assert refused(lying) in ("bomb", "broken")


def test_too_much_in_all_is_refused(monkeypatch):
    monkeypatch.setattr(xlsx, "MOST_UNPACKED", 1000)
    assert refused(books.xlsx({"A": [["Name"]]})) == "bomb"


@pytest.mark.parametrize(
    "prolog",
    [
        b'<!DOCTYPE x [<!ENTITY a "b">]>',
        b'<!DOCTYPE x SYSTEM "file:///etc/passwd">',
        b'<! DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]>',
    ],
)
@pytest.mark.parametrize("name", [SHEET, "xl/workbook.xml", "xl/styles.xml"])
def test_xml_entities_are_refused(prolog, name):
    """No spreadsheet program writes a document type (billion laughs, external entities)."""
    data = books.xlsx({"A": [["Name"]]})
    content = books.part(data, name)
    content = content.split(b"?>", 1)[1] if content.startswith(b"<?xml") else content
    assert refused(books.with_part(data, name, b'<?xml version="1.0"?>' + prolog + content)) == "entity"


def test_an_entity_behind_a_quarter_megabyte_is_found():
    data = books.xlsx({"A": [["Name"]]})
    sheet = books.part(data, SHEET)
    late = sheet + b"<!--" + bytes(range(65, 91)) * 11_000 + b"-->" + b"<!ENTITY a 'b'>"
    assert refused(books.with_part(data, SHEET, late)) == "entity"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-7"])
def test_xml_in_another_encoding_is_refused(encoding):
    """An entity could hide in it."""
    data = books.xlsx({"A": [["Name"]]})
    text = (
        f'<?xml version="1.0" encoding="{encoding}"?>' + books.part(data, SHEET).decode().split("?>", 1)[-1]
    )
    assert refused(books.with_part(data, SHEET, text.encode(encoding))) == "entity"


@pytest.mark.parametrize(
    "content",
    [
        b"<f " * 1_000_000,
        b"<f></f>" + b" " * 3_000_000,
        b"<f><v></v>" + b"</f><v>" + b" " * 3_000_000,
        b"<mergeCell " * 300_000,
        b"<! " * 1_000_000,
    ],
)
def test_looking_through_a_sheet_never_goes_back(content):
    """What is found by pattern is found in one pass: three megabytes of beginnings take no minutes."""
    data = books.xlsx({"A": [["Name"]]})
    hostile = books.with_part(data, SHEET, books.part(data, SHEET) + content)
    began = time.monotonic()
    assert refused(hostile) in ("broken", "bomb")
    assert time.monotonic() - began < 10


@pytest.mark.parametrize("formula", [b"<f>1+1</f>", b'<f t="shared" si="0"/>', b"<f/>", b"<f>1/2</f>"])
@pytest.mark.parametrize("value", [b"", b"<v/>", b"<v></v>"])
def test_every_way_to_write_a_formula_without_a_value_is_counted(formula, value):
    data = books.xlsx({"A": [["Name"], ["Rope"]]})
    cell = b'<row r="3"><c r="A3">' + formula + value + b"</c></row></sheetData>"
    sheet = books.part(data, SHEET).replace(b"</sheetData>", cell)
    notes = read(books.with_part(data, SHEET, sheet), "a.xlsx").notes
    assert [note.split(" have")[0] for note in notes if "no value" in note] == ["1 formulas"]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        (SHEET, b'<worksheet><sheetData><row r="1">' + b"<c/>" * 600_000),
        (SHEET, b"<worksheet>" + b"<x/>" * 600_000),
        (SHEET, b"<worksheet><!-- -->" + b"<x/><!--<row -->" * 600_000),
        ("xl/styles.xml", b"<styleSheet>" + b"<xf/>" * 600_000),
    ],
)
def test_more_tags_than_can_be_held_at_once_are_refused(name, content):
    """A few kilobytes unpack to a row of a million cells, each a hundred bytes in memory."""
    assert refused(books.with_part(books.xlsx({"A": [["Name"]]}), name, content)) == "bomb"


def test_too_many_tags_in_all_are_refused(monkeypatch):
    monkeypatch.setattr(xlsx, "MOST_TAGS", 20)
    assert refused(books.xlsx({"A": [["Name"]]})) == "bomb"


def test_one_long_word_in_many_cells_does_not_fill_the_memory(monkeypatch):
    """A word of a megabyte, kept once in the file, would be kept once for each cell here."""
    monkeypatch.setattr(xlsx, "MOST_LETTERS", 1000)
    word = "two  blanks " * 30
    assert cells(books.xlsx({"A": [[word], [word]]}), "a.xlsx")[1] == (" ".join(word.split()),)
    assert refused(books.xlsx({"A": [[word], [word], [word]]})) == "bomb"


def test_damaged_files_are_refused():
    data = books.xlsx({"A": [["Name"]]})
    assert refused(data[:400]) == "broken"
    assert refused(books.with_part(data, SHEET, b"<worksheet><sheetData><row>")) == "broken"
    assert refused(books.with_part(data, "xl/workbook.xml", None)) == "not_xlsx"


@pytest.mark.parametrize(
    "name", ["xl/styles.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml", SHEET]
)
@pytest.mark.parametrize("content", [b"", b"<", b"<a/>", b"\xff\xfe<", b"<a><b></a>", None])
def test_a_part_that_is_missing_or_nonsense_is_read_or_refused_in_one_sentence(name, content):
    """Never a fault of ours: the words are there, or a SheetProblem says why not."""
    data = books.with_part(books.xlsx({"A": [["Name"], ["Rope"]]}), name, content)
    try:
        found: object = cells(data, "a.xlsx")
    except SheetProblem as problem:
        found = problem.code
    assert found in ("broken", "entity", "not_xlsx", "empty", [("Name",), ("Rope",)])


def test_a_word_that_the_list_of_words_lacks_is_refused():
    data = books.xlsx({"A": [["Name"], ["Rope"]]})
    sheet = books.part(data, SHEET)
    word = b'<c r="A2" t="inlineStr"><is><t>Rope</t></is></c>'
    assert word in sheet
    lacking = sheet.replace(word, b'<c r="A2" t="s"><v>99</v></c>')
    assert refused(books.with_part(data, SHEET, lacking)) == "broken"


def test_other_kinds_of_zip_are_refused():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", "<x/>")
    assert refused(out.getvalue()) == "opendocument"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("holiday.jpg", b"x")
    assert refused(out.getvalue()) == "not_xlsx"


def test_too_many_rows_are_refused(monkeypatch):
    monkeypatch.setattr(xlsx, "MOST_ROWS", 5)
    assert refused(books.xlsx({"A": [[n] for n in range(1, 9)]})) == "too_many_rows"


def test_letters_of_columns():
    assert [letter(n) for n in (0, 25, 26, 51, 701, 702)] == ["A", "Z", "AA", "AZ", "ZZ", "AAA"]


# Numbers and days as they stand in columns


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("1.234,50 €", "1234.50"),
        ("€ 1.234,50", "1234.50"),
        ("£1,234.50", "1234.50"),
        ("(45.00)", "-45.00"),
        ("(£45.00)", "-45.00"),
        ("-45,00", "-45.00"),
        ("45.00-", "-45.00"),
        ("SEK 1 234,50", "1234.50"),
        ("1\u202f234,50 kr", "1234.50"),
        ("1'234.50", "1234.50"),
        ("1.234.567", "1234567"),
        ("45,-", "45"),
        ("12", "12"),
        ("0,500", "0.500"),
        ("12.5", "12.5"),
        ("−3", "-3"),
    ],
)
def test_money_as_people_write_it(text, number):
    assert values.number(text) == D(number)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1,234", "ambiguous"),
        ("1.234", "ambiguous"),
        ("1,23,4", "not_a_number"),
        ("AB 12", "not_a_number"),
        ("(45.00", "not_a_number"),
        ("12 apples", "not_a_number"),
        ("1e3", "not_a_number"),
        ("#REF!", "error"),
        ("1" * 16, "too_large"),
        ("١٢", "not_a_number"),
    ],
)
def test_what_is_no_number_or_two_numbers_is_refused(text, code):
    with pytest.raises(NumberProblem) as problem:
        values.number(text)
    assert problem.value.code == code


@pytest.mark.parametrize(
    ("column", "mark", "number"),
    [
        (["1.234", "4,50"], ",", "1234"),
        (["1,234", "4.50"], ".", "1234"),
        (["1.234", "4.50"], ".", "1.234"),
        (["1,234", "4,5"], ",", "1.234"),
    ],
)
def test_a_column_says_which_mark_is_the_decimal_one(column, mark, number):
    assert values.decimal_mark(column) == mark
    assert values.number(column[0], mark) == D(number)


def test_a_column_that_does_not_say_has_no_mark():
    assert values.decimal_mark(["1,234", "12", None, D(3)]) == ""
    assert values.decimal_mark(["4,50", "4.50"]) == ""


@pytest.mark.parametrize("text", [None, "", " ", "n/a", "N/A", "-", "—", "nil", "none", "?", "tbc", "#N/A"])
def test_words_for_nothing(text):
    assert values.is_empty(text)


@pytest.mark.parametrize("value", ["0", D(0), "nailed", date(2026, 1, 1)])
def test_nought_is_not_nothing(value):
    assert not values.is_empty(value)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("45 €", "EUR"),
        ("£4", "GBP"),
        ("EUR 45", "EUR"),
        ("45 sek", "SEK"),
        ("$4", ""),
        ("4 kr", ""),
        ("45", ""),
    ],
)
def test_the_currency_beside_an_amount(text, code):
    """A sign that several countries share says nothing."""
    assert values.money_sign(text) == code


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-09", "9.3.2026", "09/03/2026", "9/3/26", "9 Mar 2026", "9 March 2026", "Mar 9, 2026", "March 9 2026",
        "2026/03/09", "20260309", "2026-03-09 00:00:00", "2026-03-09T10:15", "Mon 9 Mar 2026", "9-3-2026",
    ],
)  # fmt: skip
def test_styles_of_days(text):
    assert values.day(text) == date(2026, 3, 9)


def test_days_with_the_month_first_where_the_column_shows_it():
    assert values.month_first(["3/9/2026", "3/25/2026"]) is True
    assert values.month_first(["3/9/2026", "25/3/2026"]) is False
    assert values.month_first(["3/9/2026", None, D(4)]) is None
    assert values.day("3/9/2026", american=True) == date(2026, 3, 9)


def test_counts_of_days():
    """45000 is 15 March 2023, and 1,462 days later where days are counted from 1904 (ECMA-376, 18.17.4.1)."""
    assert values.day(D(45000)) == date(2023, 3, 15)
    assert values.day(D(43538), count_from_1904=True) == date(2023, 3, 15)
    assert values.day(D(20260309)) == date(2026, 3, 9)


@pytest.mark.parametrize(
    "value", ["soon", "9 Mar", "31.2.2026", "12/25/2024", D(7), "1.1.1850", "today", "99999999"]
)
def test_what_is_no_day_is_refused(value):
    """A day without a year is no day here: the sheet may be years old."""
    with pytest.raises(DayProblem):
        values.day(value)


def test_a_month_runs_out_on_its_last_day():
    assert values.expiry("02/28") == date(2028, 2, 29)
    assert values.expiry("2028-02") == date(2028, 2, 29)
    assert values.expiry("9 Mar 2028") == date(2028, 3, 9)
