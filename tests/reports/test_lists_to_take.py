"""The two lists that are taken along, fetch list and town run: grouped, ticked, whole, and inside their columns."""

import time
from collections import defaultdict
from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import pairwise

from refit.reports.fetch_sheet import FetchRow, fetch_pdf
from refit.reports.page import MARGIN, Page
from refit.reports.town_sheet import Shop, TownRow, town_pdf
from tests.reports.printed import HOSTILE, outside, words_of
from tests.reports.test_paper import text_of

AS_AT = date(2026, 11, 26)
WHOSE = {"identity": ("Kittiwake of Mylor",), "as_at": AS_AT}
RESIN = FetchRow(
    "F1", "Forepeak", "Epoxy resin", Decimal("2.500"), "kg", "14 Coat", care="fuel: keep within reach"
)
TOGGLE = FetchRow("S3", "Saloon", "Toggle, 8 mm", Decimal(2), "each", "28 Step the mast", "00123")
CLIP = TownRow(
    "Hose clip",
    Decimal(12),
    "each",
    "20–32 mm",
    "M6 × 1",
    "raw water hose",
    "HC-32",
    "31 Hoses",
    "A4, no other",
)


def fetched(*rows: FetchRow) -> str:
    return "\n".join(text_of(fetch_pdf(rows, **WHOSE)))


def brought(*shops: Shop) -> str:
    return "\n".join(text_of(town_pdf(shops, **WHOSE)))


def test_the_fetch_list_goes_from_place_to_place_in_the_given_order():
    text = fetched(
        TOGGLE, RESIN, replace(TOGGLE, part="Pin"), replace(TOGGLE, mark="", place="", part="Bolt")
    )
    at = [
        text.index(words)
        for words in ("S3 · Saloon", "Toggle", "Pin", "F1 · Forepeak", "Epoxy", "Not found", "Bolt")
    ]
    assert at == sorted(at)
    assert text.count("S3 · Saloon") == 1
    assert "take care: fuel: keep within reach" in text


def test_a_row_to_fetch_says_what_how_many_and_for_which_job():
    (line,) = [line for line in fetched(TOGGLE).splitlines() if "Toggle" in line]
    assert line.split() == ["Toggle,", "8", "mm", "00123", "2", "each", "28", "Step", "the", "mast"]
    text = fetched(replace(TOGGLE, quantity=None, unit="low", note="18 m in one piece"))
    assert "18 m in one piece" in text
    assert "None" not in text


def test_what_is_taken_already_has_its_box_crossed():
    plain, crossed = (fetch_pdf([replace(TOGGLE, taken=taken)], **WHOSE) for taken in (False, True))
    assert plain != crossed
    assert [word.text for word in words_of(plain)] == [word.text for word in words_of(crossed)]


def test_the_town_run_goes_by_shop_and_says_what_is_asked_at_the_counter():
    text = brought(
        Shop("Quay Chandler", [CLIP], "till 17:30"), Shop("Empty", []), Shop("", [replace(CLIP, part="Rags")])
    )
    for words in (
        "Quay Chandler · till 17:30",
        "20–32 mm",
        "M6 × 1",
        "raw water hose",
        "HC-32",
        "31 Hoses",
        "A4, no other",
    ):
        assert words in text
    assert text.index("Hose clip") < text.index("Any shop") < text.index("Rags")
    assert "Empty" not in text


def test_there_is_a_column_for_prices_only_where_there_are_any():
    assert "Price" not in brought(Shop("Q", [CLIP]))
    priced = brought(Shop("Q", [CLIP, replace(CLIP, price="£1.20")]))
    assert "Price" in priced
    assert "£1.20" in priced


def test_empty_lists_say_so():
    assert "Nothing to fetch." in fetched()
    assert "Nothing to bring from town." in brought()
    assert "Nothing to bring from town." in brought(Shop("Quay", []))


def test_hostile_words_stay_in_their_columns():
    most = Decimal("999999.999")
    rows = [FetchRow(words, words, words, most, *[words] * 5) for words in HOSTILE]
    shops = [
        Shop(words, [TownRow(words, most, words, *[words] * 6, price="£999,999.00")], words)
        for words in HOSTILE
    ]
    for pdf, page in ((fetch_pdf(rows, **WHOSE), Page.PORTRAIT), (town_pdf(shops, **WHOSE), Page.LANDSCAPE)):
        assert outside(pdf, *page.value, MARGIN) == []
        lines = defaultdict(list)
        for word in words_of(pdf):
            lines[word.page, round(word.bottom)].append(word)
        assert len(lines) > 40
        for line in lines.values():
            line.sort(key=lambda word: word.left)
            assert [(a.text, b.text) for a, b in pairwise(line) if a.right > b.left + 0.5] == []


def test_two_thousand_rows_are_quick():
    started = time.perf_counter()
    pdf = fetch_pdf([replace(TOGGLE, mark=f"S{at // 10}", number=f"N{at:04}") for at in range(2000)], **WHOSE)
    assert time.perf_counter() - started < 20  # a second and a half on an idle machine
    assert pdf.count(b"/Type /Page\n") > 40
