"""Label sheets: what is printed where, and what is refused."""

import re
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest

from refit.reports import fonts, qr
from refit.reports.label_face import LabelRow, Rule, face
from refit.reports.labels import LabelProblem, label_sheets, module_mm, preview_svg, sheets_needed
from refit.reports.sheets import STOCKS
from tests import synthetic

AT = "http://kittiwake.local:8000/L/"  # 34 characters with a code: version 3 at Q
SHORT = "http://boat.local:8000/L/AB3K"  # 29: the most that version 2 holds


def row(mark="S3", name="Chart table locker", area="Saloon, starboard", code="AB3K", at=AT):
    return LabelRow(at + code, mark, name, area, code)


def refused(*args, **kwargs):
    with pytest.raises(LabelProblem) as caught:
        label_sheets(*args, **kwargs)
    return caught.value


# What is refused


def test_squares_too_small_are_refused_with_the_reason():
    # 17 + 4 × 4 = 33 modules and 8 of white on a label 21.2 mm high, less half a millimetre above and below.
    long = row(at="http://kittiwake-of-mylor.harbour.example:8000/L/")
    assert len(long.address) == 53
    problem = refused([long], "a4-65")
    assert problem.code == "module"
    assert "would be 0.49 mm" in str(problem)
    assert "53 characters" in str(problem)
    assert "at most 47 characters, or choose a larger label" in str(problem)
    assert label_sheets([long], "a4-21").startswith(b"%PDF")
    with pytest.raises(LabelProblem, match=r"0\.49 mm"):
        module_mm("a4-65", long.address)


@pytest.mark.parametrize("place", [0, -1, 22])
def test_a_place_off_the_sheet_is_refused(place):
    problem = refused([row()], "a4-21", first_place=place)
    assert problem.code == "first_place"
    assert "places 1 to 21" in str(problem)


@pytest.mark.parametrize("nudge", [5.01, -6, float("nan"), float("inf")])
@pytest.mark.parametrize("way", ["nudge_x_mm", "nudge_y_mm"])
def test_a_nudge_of_more_than_5_mm_is_refused(way, nudge):
    assert refused([row()], "a4-21", **{way: nudge}).code == "nudge"


def test_no_labels_an_unknown_stock_a_strange_address_and_a_wrong_code_are_refused():
    assert refused([], "a4-21").code == "empty"
    assert refused([row()], "a4-22").code == "stock"
    assert refused([row(at="http://my_boat/L/")], "a4-21").code == "address"
    assert refused([LabelRow(AT + "AB3K", "S3", "", "", "7K29")], "a4-21").code == "code"


# What the sheet holds


@pytest.mark.parametrize("stock_key", STOCKS)
def test_modules_are_half_a_millimetre_or_more_and_the_tile_lies_on_the_label(stock_key):
    stock = STOCKS[stock_key]
    for address, version in ((SHORT, 2), (AT + "AB3K", 3)):
        module = module_mm(stock_key, address)
        tile = (17 + 4 * version + 8) * module
        assert module >= 0.5
        assert tile <= min(stock.label_w_mm, stock.label_h_mm)


def test_names_in_three_alphabets_can_be_taken_out_of_the_pdf():
    rows = [
        row("S3", "Åland öl & ñandú", "Café, château"),
        row("Δ4", "Ανταλλακτικά", "Μηχανοστάσιο"),
        row("Я2", "Запчасти", "Отсек"),
        row("", "Grey tool bag", "Saloon", "7K29"),
    ]
    text = synthetic.text_of(label_sheets(rows, "letter-30", boat="Kittiwake of Mylor"))
    wanted = "S3 Δ4 Я2 Åland öl & ñandú Ανταλλακτικά Μηχανοστάσιο Запчасти Отсек Café, château 7K29 AB3K"
    missing = [word for word in wanted.split() if word not in text]
    assert missing == []
    assert "Kittiwake of Mylor · page 1 of 1" in text


def test_a_label_without_mark_takes_its_name_and_a_blank_one_its_code():
    squares = qr.matrix(SHORT)
    named = face(row("", "Grey tool bag", "Saloon"), STOCKS["letter-30"], squares, 0.7)
    assert max(named.words, key=lambda words: words.size).text == "Grey tool bag"
    assert [words.text for words in named.words].count("Grey tool bag") == 1
    blank = face(row("", "", ""), STOCKS["letter-30"], squares, 0.7)
    assert [words.text for words in blank.words] == ["AB3K"]
    assert blank.words[0].size > 2 * next(words.size for words in named.words if words.text == "AB3K")
    assert blank.rules
    assert not named.rules


AWKWARD = [
    ("S3", "Chart table locker", "Saloon, starboard"),
    ("", "", ""),
    ("", "A very long name for a bag that nobody bothered to give a mark of its own", "Forepeak"),
    ("FS-10A/Bulkhead-27", "Rope, shackles and blocks for the mizzen and the staysail", "Cockpit, starboard"),
    ("W" * 60, "W" * 300, "W" * 300),
    ("Forepeak", "forepeak", ""),
    ("<b>&", '"><script>alert(1)</script>', "=cmd|'/c calc'!A1"),
    ("⚓7", "שלום עולם", "船"),
    ("g\nq\x01", "line\tbreaks\x00 and \u202e turned \u200b words", "\ud800"),
    ("Я" * 9, "Щ " * 100, "ж" * 100_000),
]


@pytest.mark.parametrize("stock_key", STOCKS)
@pytest.mark.parametrize("said", AWKWARD, ids=range(len(AWKWARD)))
def test_every_word_lies_beside_the_code_and_inside_the_label(stock_key, said):
    stock = STOCKS[stock_key]
    squares = qr.matrix(AT + "AB3K")
    module = module_mm(stock_key, AT + "AB3K")
    laid = face(row(*said), stock, squares, module)
    free = laid.qr_x + (len(squares) + 4) * module
    assert "AB3K" in [words.text for words in laid.words]
    for words in laid.words:
        assert words.x >= free - 1e-9
        assert (
            words.x + fonts.width(words.text, words.font, words.size)
            <= stock.label_w_mm - stock.edge_mm + 1e-6
        )
        cap = words.baseline - fonts.CAP_HEIGHT[words.font] * words.size
        assert cap >= stock.edge_mm - 1e-6
        assert words.baseline <= stock.label_h_mm - stock.edge_mm + 1e-6
        assert words.size >= 1.75  # five points
    ordered = sorted(laid.words, key=lambda words: words.baseline)
    for above, below in pairwise(ordered):
        assert below.baseline - fonts.CAP_HEIGHT[below.font] * below.size >= above.baseline
    for rule in laid.rules:
        assert isinstance(rule, Rule)
        assert rule.x + rule.length <= stock.label_w_mm - stock.edge_mm + 1e-6
    ElementTree.fromstring(preview_svg(row(*said), stock_key).encode("utf-8", "strict"))
    assert label_sheets([row(*said)], stock_key).startswith(b"%PDF")


def test_what_the_fonts_lack_prints_as_a_question_mark():
    assert fonts.printable("船 7 Я Ω é e\u0301") == "? 7 Я Ω é é"
    assert fonts.printable(" a\x00\u202e \n b ") == "a b"


def test_the_preview_shows_the_words_and_runs_nothing():
    svg = preview_svg(row("<S3>", "<script>alert(1)</script>"), "a4-21")
    tree = ElementTree.fromstring(svg)
    tags = {element.tag.split("}")[1] for element in tree.iter()}
    assert tags == {"svg", "title", "rect", "path", "text"}
    texts = [element.text for element in tree.iter("{http://www.w3.org/2000/svg}text")]
    assert "<S3>" in texts
    assert "AB3K" in texts
    assert (tree.get("width"), tree.get("height")) == ("63.5mm", "38.1mm")
    assert "style" not in svg


def test_the_same_labels_give_the_same_bytes():
    made = [label_sheets([row(), row("P1")], "a4-24", boat="Kittiwake of Mylor") for _ in range(2)]
    assert made[0] == made[1]
    assert b"Labels, Kittiwake of Mylor" in made[0]


def test_both_weights_are_in_the_file_under_their_own_names():
    pdf = label_sheets([row()], "a4-21")
    fonts_in = set(re.findall(rb"/BaseFont /[A-Z]{6}\+([\w-]+)", pdf))
    assert {b"NotoSans-Regular", b"NotoSans-Bold", b"IBMPlexMono-Bold"} <= fonts_in


@pytest.mark.parametrize(
    ("labels", "first", "sheets"), [(21, 1, 1), (22, 1, 2), (1, 21, 1), (2, 21, 2), (21, 2, 2), (43, 21, 3)]
)
def test_a_part_used_sheet_goes_on_where_it_is_free(labels, first, sheets):
    pdf = label_sheets([row(code=f"A{i:03}") for i in range(labels)], "a4-21", first_place=first)
    pages = synthetic.pages_of(pdf, 50)
    assert len(pages) == sheets == sheets_needed(labels, "a4-21", first)
    dark = [
        bool((synthetic.cell_of(page, "a4-21", place, 50) < 128).any())
        for page in pages
        for place in range(21)
    ]
    wanted = [first - 1 <= place < first - 1 + labels for place in range(21 * sheets)]
    assert dark == wanted


def test_single_labels_take_a_page_each_of_their_own_size():
    pages = synthetic.pages_of(label_sheets([row(), row("P1")], "single-62x29"), 254)
    assert [np.array(page.shape).tolist() for page in pages] == [[290, 620]] * 2
