"""The look's own figures: every text on every ground it stands on reaches 7:1, in both schemes.

Contrast is reckoned as WCAG 2.2 defines it (relative luminance, https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio).
"""

import re
from pathlib import Path

import pytest

SHEET = Path(__file__).resolve().parents[2] / "refit" / "pages" / "static" / "refit" / "refit.css"
TEXT_ON_GROUND = [
    ("ink", ["paper", "card", "wash", "warn-wash", "stop-wash"]),
    ("soft", ["paper", "card", "wash", "warn-wash"]),
    ("sea", ["paper", "card", "wash"]),
    ("sea-deep", ["paper", "card", "wash"]),
    ("sea-ink", ["sea", "sea-deep"]),
    ("warn", ["paper", "card", "warn-wash"]),
    ("stop", ["paper", "card", "stop-wash"]),
    ("card", ["ink"]),
    ("band-ink", ["band"]),
    ("band-soft", ["band"]),
    ("band-line", ["band"]),
]
EDGE_ON_GROUND = [("edge", ["paper", "card", "band"]), ("sea", ["rule"])]  # 1.4.11: 3:1 for edges and bars


def tokens() -> dict[str, dict[str, str]]:
    """Return the colours of both schemes as the sheet's first two blocks name them."""
    blocks = re.findall(r":root \{(.*?)\}", SHEET.read_text(), re.S)
    light = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", blocks[0]))
    dark = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", blocks[1]))
    return {"light": light, "dark": light | dark}


def luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_is_21_to_1():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_reaches_seven_to_one(scheme):
    colours = tokens()[scheme]
    pairs = [(t, g) for t, grounds in TEXT_ON_GROUND for g in grounds]
    low = {(t, g): round(contrast(colours[t], colours[g]), 2) for t, g in pairs}
    assert {pair: ratio for pair, ratio in low.items() if ratio < 7} == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_edges_of_boxes_reach_three_to_one(scheme):
    colours = tokens()[scheme]
    pairs = [(e, g) for e, grounds in EDGE_ON_GROUND for g in grounds]
    low = {(e, g): round(contrast(colours[e], colours[g]), 2) for e, g in pairs}
    assert {pair: ratio for pair, ratio in low.items() if ratio < 3} == {}


def test_no_template_carries_style_or_script_of_its_own():
    """The content policy would refuse both, and the page would look broken only in a browser."""
    folder = Path(__file__).resolve().parents[2] / "templates"
    wrong = [
        str(path.relative_to(folder))
        for path in folder.rglob("*.html")
        if re.search(r"\sstyle\s*=|<style|\son[a-z]+\s*=\s*[\"']|<script(?![^>]*\ssrc=)", path.read_text())
    ]
    assert wrong == []
