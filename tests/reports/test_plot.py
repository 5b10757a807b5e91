"""The drawing of curves: it stands alone, runs nothing, and shows every curve on either ground."""

import re
import xml.etree.ElementTree as ET

import pytest

from refit.reports.plot import DARK, LIGHT, NARROW, WIDE, Curve, curves

MONTHS = ["Jan 2026", "Feb 2026", "Mar 2026"]
TWO = [Curve("Ordered", [0, 100_00, 250_00]), Curve("Budget", [None, 300_00, 300_00], "24,8")]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("size", [WIDE, NARROW])
@pytest.mark.parametrize("ground", [LIGHT, DARK])
def test_it_is_a_drawing_that_fetches_and_runs_nothing(ground, size):
    drawing = curves(MONTHS, TWO, "GBP", ground, size)
    root = ET.fromstring(drawing)
    assert root.tag == f"{SVG}svg"
    assert (root.get("width"), root.get("height")) == (str(size.width), str(size.height))
    assert not list(root.iter(f"{SVG}script"))
    assert set(re.findall(rb"https?://[^\"'\s<>]+", drawing)) <= {
        b"http://www.w3.org/2000/svg",
        b"http://www.w3.org/1999/xlink",
    }
    assert b"url(http" not in drawing
    assert b"@import" not in drawing
    assert b"<!--" not in drawing


def test_it_names_its_curves_and_months():
    words = "".join(ET.fromstring(curves(MONTHS, TWO, "GBP", LIGHT, WIDE)).itertext())
    for word in ["Ordered", "Budget", *MONTHS]:
        assert word in words


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_the_names_of_five_curves_lie_within_the_drawing(size):
    drawn = [Curve(name, [1_00, 2_00, 3_00]) for name in ("One", "Two", "Three", "Four", "Five")]
    root = ET.fromstring(curves(MONTHS, drawn, "GBP", LIGHT, size))
    above = {child: parent for parent in root.iter() for child in parent}
    (legends,) = [row for row in root.iter(f"{SVG}g") if row.get("class") == "legends"]
    lowest = max(float(box.get("y")) + float(box.get("height")) for box in legends.iter(f"{SVG}rect"))
    node = legends
    while node in above:
        lowest += float(re.findall(r"[-\d.]+", node.get("transform", "translate(0, 0)"))[1])
        node = above[node]
    assert 0 < lowest <= size.height


def test_curves_differ_by_their_strokes_and_not_by_colour_alone():
    assert b"24,8" in curves(MONTHS, TWO, "GBP", LIGHT, WIDE)


def test_amounts_are_drawn_in_whole_units_of_the_currency():
    drawing = curves(MONTHS, [Curve("Ordered", [0, 5_000, 10_000])], "JPY", LIGHT, WIDE)
    assert b"10,000" in drawing  # a yen has no smaller unit


def test_names_are_escaped():
    drawing = curves(MONTHS, [Curve("<script>", [1, 2, 3])], "GBP", LIGHT, WIDE)
    assert b"<script" not in drawing
    assert "<script>" in "".join(ET.fromstring(drawing).itertext())


@pytest.mark.parametrize("months", [[], ["Jan 2026"]])
def test_nothing_or_one_month_is_drawn_too(months):
    drawing = curves(months, [Curve("Ordered", [1_00] * len(months))], "GBP", LIGHT, WIDE)
    ET.fromstring(drawing)


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours, by WCAG 2.2 (relative luminance)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(("ground", "under"), [(LIGHT, "#ffffff"), (DARK, "#1a1d20")])
def test_words_and_curves_stand_out_from_what_they_lie_on(ground, under):
    assert contrast(ground.words, under) >= 7
    for colour in ground.curves:
        assert contrast(colour, under) >= 4.5
