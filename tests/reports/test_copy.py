"""The copy for where there is no signal: rows alone in, one page out that asks for nothing and that no name breaks."""

import base64
import hashlib
import json
import re
from datetime import UTC, date, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest

from refit.calc.text import fold
from refit.reports.copy import (
    ASSETS,
    CopyBook,
    CopyFetch,
    CopyFetchRow,
    CopyHolding,
    CopyPart,
    CopyPlace,
    CopyTown,
    CopyTownRow,
    html,
    policy,
)

AS_AT = datetime(2026, 11, 26, 0, 40, tzinfo=UTC)
SHEET = Path(__file__).resolve().parents[2] / "refit" / "pages" / "static" / "refit" / "refit.css"
HOSTILE = [
    "<script>alert(1)</script>",
    "</script><img src=x onerror=alert(1)>",
    "<!-- <script>",
    "]]>",
    "=1+1",
    "\"'`&amp;&lt;",
    "line\u2028and\u2029paragraph",
    "</noscript><b>",
    "</style><style>*{display:none}",
    "\u202egnihsrever",
    "{{ boat }}{% now %}",
    "\\u003cb\\u003e",
    "half \ud83d a letter",
]


class Reader(HTMLParser):
    """Read a page as a browser does: its tags with their attributes, and the text of each script and style."""

    def __init__(self, page: str):
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict]] = []
        self.inside: list[str] = []
        self.kept: dict[str, list[str]] = {"script": [], "style": []}
        self.text = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in self.kept:
            self.kept[tag].append("")
            self.inside.append(tag)

    def handle_endtag(self, tag):
        if self.inside and tag == self.inside[-1]:
            self.inside.pop()

    def handle_data(self, data):
        if self.inside:
            self.kept[self.inside[-1]][-1] += data
        else:
            self.text += data

    def count(self, tag: str) -> int:
        return sum(1 for name, _ in self.tags if name == tag)


def book_of(word: str = "Impeller, 8-vane", **changes) -> CopyBook:
    """Return a small book in which this word stands wherever a person can write."""
    values = {
        "identity": (word, f"Hull number {word}"),
        "as_at": AS_AT,
        "places": (
            CopyPlace("7K29", "S3", word, word, cautions=(f"Do not block: seacock ({word})",), note=word),
            CopyPlace("AB3J", "B7", word, word, inside="7K29"),
        ),
        "parts": (CopyPart(41, word, word, (word, "09-1027"), ""), CopyPart(17, "Hose", unit="m")),
        "holdings": (
            CopyHolding(41, "AB3J", "3", lot=word, expires=date(2027, 6, 30)),
            CopyHolding(17, "7K29", "4.3", bad=word),
        ),
        "fetch": (CopyFetch(31, word, "ready", (CopyFetchRow("AB3J", 41, "2", word),)),),
        "town": (CopyTown(word, (CopyTownRow(word, word, word, word, word),), word),),
    }
    return CopyBook(**{**values, **changes})


def page_of(book: CopyBook) -> Reader:
    return Reader(html(book).decode())


def data_of(book: CopyBook) -> dict:
    return json.loads(page_of(book).kept["script"][0])


def test_the_rows_stand_in_it_named_by_where_they_stand():
    data = data_of(book_of())
    assert data["holdings"] == [
        [0, 1, "3", "", "Impeller, 8-vane", "2027-06-30", ""],
        [1, 0, "4.3", "", "", "", "Impeller, 8-vane"],
    ]
    assert [[*row[:2], row[5]] for row in data["places"]] == [["7K29", "S3", -1], ["AB3J", "B7", 0]]
    assert data["fetch"] == [
        [31, "Impeller, 8-vane", "ready", [[1, 0, "2", "Impeller, 8-vane"]]],
    ]
    assert data["town"][0][2] == [["Impeller, 8-vane"] * 5]
    assert data["made"] == AS_AT.timestamp() * 1000


def test_words_are_folded_as_the_program_folds_them():
    part = CopyPart(1, "Gråsej Ölfilter", "20 × 40 mm", ("09-10 27",))
    data = data_of(
        book_of(parts=(part,), holdings=(), fetch=(), places=(CopyPlace("AB3J", "S 3", "Øvre køye"),))
    )
    assert data["parts"][0][4] == "|".join(
        fold(word) for word in ("Gråsej Ölfilter", "20 × 40 mm", "09-10 27")
    )
    assert data["parts"][0][4] == "grasejolfilter|20x40mm|091027"
    assert data["places"][0][8:] == ["s3", "s3ovrekoye"]


@pytest.mark.parametrize("word", HOSTILE)
def test_no_name_breaks_out_or_is_changed(word):
    plain, hostile = page_of(book_of("Plain")), page_of(book_of(word))
    assert [tag for tag, _ in hostile.tags] == [tag for tag, _ in plain.tags]
    assert [attrs for _, attrs in hostile.tags] == [attrs for _, attrs in plain.tags]
    assert len(hostile.kept["script"]) == 2
    kept = word.encode("utf-8", "replace").decode()
    data = json.loads(hostile.kept["script"][0])
    assert (data["boat"], data["parts"][0][0], data["places"][0][6]) == (kept, kept, kept)
    assert kept in hostile.text


@pytest.mark.parametrize("word", HOSTILE)
def test_the_data_holds_nothing_that_html_or_a_line_of_script_would_end_at(word):
    data = page_of(book_of(word)).kept["script"][0]
    assert re.findall("[<>&\u2028\u2029]", data) == []


def test_it_asks_for_nothing():
    page = html(book_of()).decode()
    assert (
        re.findall(r"(?i)\b(?:https?|wss?|ftp):|//[a-z0-9]", re.sub(r"/\*.*?\*/", "", page, flags=re.S)) == []
    )
    for tag, attrs in Reader(page).tags:
        assert not {"src", "srcset", "data", "action", "poster", "background"} & set(attrs), tag
        assert attrs.get("href", "#").startswith("#")
    assert Reader(page).count("link") == 0
    assert (
        re.findall(r"url\(|@import|fetch\(|XMLHttpRequest|sendBeacon|WebSocket|innerHTML|eval\(", page) == []
    )


def test_its_policy_lets_in_its_own_style_and_script_alone():
    page = page_of(book_of())
    [meta] = [attrs for tag, attrs in page.tags if attrs.get("http-equiv") == "Content-Security-Policy"]
    assert meta["content"] == policy()

    def digest(text: str) -> str:
        return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()

    rules = dict(rule.split(" ", 1) for rule in meta["content"].split("; "))
    assert rules["default-src"] == "'none'"
    assert rules["style-src"] == f"'{digest(page.kept['style'][0])}'"
    assert rules["script-src"] == f"'{digest(page.kept['script'][1])}'"
    assert "unsafe" not in meta["content"]
    assert not [
        attrs for _, attrs in page.tags if "style" in attrs or any(key.startswith("on") for key in attrs)
    ]


def test_it_says_at_the_top_what_it_is_and_whose():
    page = page_of(book_of("Kittiwake of Mylor"))
    assert "Copy of 26 Nov 2026, 00:40, read only" in page.text
    assert page.text.index("read only") < page.text.index("Lockers")
    assert "If this stays" in page.text
    assert "Prepared by the owner, not verified." in page.text
    assert ("time", {"datetime": AS_AT.isoformat()}) in page.tags


def test_without_script_the_lists_stand_as_text():
    page = html(book_of("Fuel filter")).decode()
    plain = Reader(page[page.index("<noscript>") : page.index("</noscript>")]).text
    assert "3, Fuel filter, Fuel filter, Fuel filter, 09-1027, Fuel filter, to 30 Jun 2027" in plain
    assert "4.3 m, Hose" in plain
    assert "Do not block: seacock (Fuel filter)" in plain
    assert "B7: 2, Fuel filter" in plain
    assert "Town" in plain


def test_an_empty_boat_has_a_copy_too():
    page = page_of(CopyBook(("Empty",), AS_AT))
    assert json.loads(page.kept["script"][0])["places"] == []
    assert "Fetch" not in page.text


def test_its_colours_are_the_programs():
    def colours(sheet: Path) -> list[dict[str, str]]:
        blocks = re.findall(r":root \{(.*?)\}", sheet.read_text(), re.S)[:2]
        return [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block)) for block in blocks]

    ours, theirs = colours(ASSETS / "copy.css"), colours(SHEET)
    assert ours[0] == theirs[0]
    assert ours[1] == theirs[1]
