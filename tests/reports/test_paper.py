import subprocess
import time
from datetime import date
from decimal import Decimal

import pytest

from refit.reports.paper import Group, Page, PaperColumn, PaperRow, Side, day, shown, table_pdf
from tests.tools import need

AS_AT = date(2026, 3, 3)
IDENTITY = ("Kittiwake of Mylor", "official number 401 227")
COLUMNS = [PaperColumn("Part", 60), PaperColumn("Part number", 30), PaperColumn("Quantity", 10, Side.RIGHT)]


def text_of(pdf: bytes) -> list[str]:
    """Return the text of each page, as poppler reads it."""
    read = subprocess.run(
        [need("pdftotext"), "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return read.stdout.decode().split("\f")[:-1]


def listed(*groups: Group, **changes) -> list[str]:
    values = {"identity": IDENTITY, "as_at": AS_AT, "columns": COLUMNS, "groups": groups}
    return text_of(table_pdf("Things", **{**values, **changes}))


def rows(count: int) -> list[PaperRow]:
    return [PaperRow([f"Thing {at}", f"N-{at:04}", str(at)]) for at in range(count)]


def test_every_page_says_whose_it_is_and_what_it_is_worth():
    pages = listed(Group("Hull", rows(150)))
    assert len(pages) > 2
    for number, page in enumerate(pages, 1):
        assert "Things" in page
        assert "Kittiwake of Mylor · official number 401 227" in page
        assert "As at 3 Mar 2026" in page
        assert "Prepared by the owner, not verified" in page
        assert f"Page {number} of {len(pages)}" in page
        assert "Part number" in page
        # the heading of a group comes again where the group goes over the page
        assert "Hull" in page


def test_every_row_is_printed_once():
    words = " ".join(listed(Group("Hull", rows(150)), Group("", rows(0)))).split()
    assert [words.count(f"N-{at:04}") for at in range(150)] == [1] * 150


def test_a_group_heading_never_stands_alone_at_the_foot():
    for count in range(30, 70):
        pages = listed(Group("Hull", rows(count)), Group("Keelson", [PaperRow(["Bolt", "B-1", "8"])]))
        (page,) = [page for page in pages if "Keelson" in page]
        assert "B-1" in page, count


def test_a_row_is_never_broken_over_the_page():
    tall = PaperRow(["one\ntwo\nthree\nfour\nfive", "T-1", "1"])
    for count in range(35, 60):
        pages = listed(Group("Hull", [*rows(count), tall]))
        (page,) = [page for page in pages if "T-1" in page]
        assert "five" in page, count


def test_a_text_taller_than_a_page_is_cut_and_says_so():
    (page,) = listed(Group("Hull", [PaperRow(["word " * 20_000, "x" * 100_000, "y\n" * 5000])]))
    assert page.count("(more on") >= 1
    assert "Page 1 of 1" in page


@pytest.mark.parametrize("text", ["Ανταλλακτικό τροχαλίας", "Сальник руля", "Ankarwinde Å ø ß", "£ € × ½ µm"])
def test_greek_cyrillic_and_accents_print(text):
    (page,) = listed(Group(text, [PaperRow([text, "1", "1"], strong=True)]), identity=(text,))
    assert page.count(text) == 3


def test_markup_and_control_characters_print_as_text_or_not_at_all():
    (page,) = listed(
        Group("<b>", [PaperRow(["<script>&amp;</script>" * 9, "a\x00b\ud800c", "1"])]), notes=["<i>&"]
    )
    assert "<script>&amp;" in page
    assert "<i>&" in page
    assert "abc" in page


def test_headings_stay_whole_however_narrow_the_column():
    columns = [PaperColumn("Part", 500), PaperColumn("Minimum", 1), PaperColumn("Quantity", 1, Side.RIGHT)]
    (page,) = listed(Group("", rows(1)), columns=columns)
    assert "Minimum" in page
    assert "Quantity" in page


def test_an_empty_list_says_so():
    (page,) = listed(empty="No part is marked as a spare yet.")
    assert "No part is marked as a spare yet." in page
    assert "Page 1 of 1" in page
    assert "Part number" not in page


@pytest.mark.parametrize(
    ("page", "size"), [(Page.PORTRAIT, "595.28 x 841.89"), (Page.LANDSCAPE, "841.89 x 595.28")]
)
def test_the_paper_is_a4(page, size):
    # ISO 216: A4 is 210 × 297 mm
    pdf = table_pdf(
        "T", identity=IDENTITY, as_at=AS_AT, columns=COLUMNS, groups=[Group("", rows(1))], page=page
    )
    told = subprocess.run([need("pdfinfo"), "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    sizes = told[told.index("Page size:") :].splitlines()[0]
    wide, high = (float(side) for side in sizes.removeprefix("Page size:").split("pts")[0].split(" x "))
    assert [wide, high] == pytest.approx([float(side) for side in size.split(" x ")], abs=0.1)


def test_the_same_list_gives_the_same_file():
    made = [
        table_pdf("T", identity=IDENTITY, as_at=AS_AT, columns=COLUMNS, groups=[Group("", rows(3))])
        for _ in "ab"
    ]
    assert made[0] == made[1]


def test_two_thousand_rows_are_quick():
    started = time.perf_counter()
    pages = listed(Group("Hull", rows(2000)))
    assert time.perf_counter() - started < 20  # about a second on an idle machine
    assert f"Page {len(pages)} of {len(pages)}" in pages[-1]


@pytest.mark.parametrize(
    ("quantity", "text"),
    [("12.000", "12"), ("0.500", "0.5"), ("1250", "1,250"), ("0", "0"), ("-3.25", "-3.25"), ("100", "100")],
)
def test_a_quantity_is_shown_as_people_write_it(quantity, text):
    assert shown(Decimal(quantity)) == text


def test_a_day_is_shown_as_people_write_it():
    assert day(date(2026, 3, 3)) == "3 Mar 2026"
    assert day(None) == ""
