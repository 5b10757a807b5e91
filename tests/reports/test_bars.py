"""The plan drawn for a page: shapes and words that say the same, and nothing that a strict content policy refuses."""

import re
import time
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from refit.reports import fonts
from refit.reports.axis import Span
from refit.reports.bars import NOTHING, Bar, BarSheet, between, legend, mini, svg
from refit.reports.drawn import shortened, wide
from tests.reports.printed import HOSTILE

NS = "{http://www.w3.org/2000/svg}"
SHEET = Path(__file__).resolve().parents[2] / "refit" / "pages" / "static" / "refit" / "refit.css"
PLAIN = Bar(
    "1", "12 Grind the hull", date(2026, 11, 9), date(2026, 11, 18), href="/k/jobs/12/", state="in hand"
)
EVERYTHING = [
    PLAIN,
    replace(PLAIN, key="2", label="28 Step the mast", critical=True, late=True, group="Rig"),
    replace(PLAIN, key="3", done=True, state="done", group="Rig"),
    replace(PLAIN, key="4", cure_until=date(2026, 11, 25), late_finish=date(2026, 12, 5), group="Rig"),
    replace(PLAIN, key="5", booked=(Span(date(2026, 11, 12), date(2026, 11, 13), "rigger"),)),
    replace(PLAIN, key="6", label="Launch", finish=PLAIN.start, milestone=True, href=None, state=""),
    replace(PLAIN, key="7", start=date(2026, 10, 1)),
    replace(PLAIN, key="8", start=date(2027, 3, 1), finish=date(2027, 3, 4)),
]


def sheet(rows=EVERYTHING, **changes) -> BarSheet:
    values = {
        "title": "Plan to launch",
        "first": date(2026, 11, 2),
        "last": date(2026, 12, 21),
        "today": date(2026, 11, 26),
    }
    return BarSheet(rows=rows, **{**values, **changes})


def drawn(rows=EVERYTHING, width=1132, **changes) -> ET.Element:
    return ET.fromstring(svg(sheet(rows, **changes), width))


def shapes(root: ET.Element, kind: str) -> list[ET.Element]:
    return [each for each in root.iter() if kind in each.get("class", "").split()]


def texts(root: ET.Element) -> list[str]:
    return [each.text or "" for each in root.iter(f"{NS}text")]


def test_a_strict_content_policy_has_nothing_to_refuse():
    for made in (
        svg(sheet(), 1132),
        mini(PLAIN, date(2026, 11, 1), date(2026, 12, 1), 90),
        legend(sheet())[0].svg,
    ):
        assert not re.search(r"style|<script|\son\w+=|url\(|\bid=|#[0-9a-f]{3}", made)


def test_every_class_of_the_drawing_has_its_look_in_the_style_sheet():
    used = {
        name
        for each in drawn(away=(Span(date(2026, 12, 1), date(2026, 12, 20)),)).iter()
        for name in each.get("class", "").split()
    }
    ruled = set(re.findall(r"\.bars \.([a-z]+)", SHEET.read_text())) | {"bars"}
    assert used - ruled - {"soft"} == set()
    assert {"job", "critical", "late", "done", "cure", "spare", "booked", "stone", "beyond", "away"} <= used


def test_it_says_what_it_is_without_being_seen():
    root = drawn()
    assert root.find(f"{NS}title").text == "Plan to launch"
    said = "7 jobs, 1 milestone, 1 critical, 1 late; 2 Nov – 21 Dec. Today is 26 Nov 2026."
    assert root.find(f"{NS}desc").text == said
    assert root.get("role") == "group"  # it holds links; a picture may not
    assert drawn([replace(PLAIN, href=None)]).get("role") == "img"


def test_a_bar_is_as_long_as_its_days():
    (job,) = shapes(drawn([PLAIN], width=1132), "job")
    day = (1132 - 320) / 50
    assert float(job.get("x")) == pytest.approx(320 + 7 * day, abs=0.1)
    assert float(job.get("width")) == pytest.approx(10 * day, abs=0.1)


@pytest.mark.parametrize(
    ("changes", "kind", "said"),
    [
        ({"critical": True}, "stripes", "critical, in hand"),
        ({"late": True}, "edge", "late, in hand"),
        ({"done": True, "state": "done"}, "done", "done"),
        ({"cure_until": date(2026, 11, 20)}, "cure", "hardens until 20 Nov"),
        ({"late_finish": date(2026, 11, 30)}, "spare", "may end as late as 30 Nov"),
        (
            {"booked": (Span(date(2026, 11, 9), date(2026, 11, 10), "rigger"),)},
            "booked",
            "booked 9–10 Nov rigger",
        ),
        ({"milestone": True}, "stone", "9–18 Nov"),
    ],
)
def test_each_kind_has_a_shape_of_its_own_and_words(changes, kind, said):
    root = drawn([replace(PLAIN, **changes)])
    assert shapes(root, kind)
    assert not shapes(drawn([PLAIN]), kind)
    told = " ".join([*texts(root), *(each.text or "" for each in root.iter(f"{NS}title"))])
    assert said in told


def test_nothing_hardens_or_is_spared_before_the_end():
    early = replace(PLAIN, cure_until=PLAIN.finish, late_finish=PLAIN.start)
    assert not shapes(drawn([early]), "cure") + shapes(drawn([early]), "spare")


def test_what_lies_beyond_the_window_is_pointed_at():
    for days in ((-90, -80), (-90, 0), (0, 200), (150, 200)):
        start, finish = (date(2026, 11, 20) + timedelta(at) for at in days)
        for milestone in (False, True):
            root = drawn([replace(PLAIN, start=start, finish=finish, milestone=milestone)])
            seen = shapes(root, "beyond") or shapes(root, "stone")
            assert len(seen) == 1, (days, milestone)
    assert not shapes(drawn([PLAIN]), "beyond")


def test_a_group_has_its_name_once():
    assert texts(drawn()).count("Rig") == 1


def test_today_is_drawn_only_where_it_is():
    assert len(shapes(drawn(), "today")) == 1
    assert "today" in texts(drawn())
    assert not shapes(drawn(today=date(2027, 6, 1)), "today")


def test_days_off_are_shaded_and_days_away_have_their_reason():
    root = drawn(away=(Span(date(2026, 12, 1), date(2026, 12, 20), "At home"),))
    assert len(shapes(root, "idle")) == 7
    assert "At home" in texts(root)
    assert "At home, 1–20 Dec" in [each.text for each in root.iter(f"{NS}title")]


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_names_are_words_and_stay_in_their_column(words):
    rows = [replace(PLAIN, label=words, state=words, group=words, critical=True)]
    for width in (360, 700, 1132):
        root = drawn(
            rows, width=width, title=words, away=(Span(date(2026, 12, 1), date(2026, 12, 5), words),)
        )
        names = min(320, max(96, width * 3 // 10))
        assert {each.tag.removeprefix(NS) for each in root.iter()} <= set(
            ["svg", "title", "desc", "g", "a", "text", "path", "rect"]
        )
        for each in root.iter(f"{NS}text"):
            bold = fonts.BOLD if {"strong", "now"} & set(each.get("class", "").split()) else fonts.REGULAR
            size = 12.5 if {"small", "now"} & set(each.get("class", "").split()) else 14
            long = fonts.width(fonts.printable(each.text or ""), bold, size)
            x = float(each.get("x"))
            end = x if "before" in each.get("class", "") else x + long
            assert end <= (names if x < names else width) + 1, each.text


@pytest.mark.parametrize("href", ["javascript:alert(1)", "https://example.com/", "data:x", ""])
def test_only_addresses_of_our_own_are_linked(href):
    assert drawn([replace(PLAIN, href=href)]).find(f".//{NS}a") is None
    (link,) = drawn([PLAIN]).iter(f"{NS}a")
    assert link.get("href") == "/k/jobs/12/"


def test_an_empty_plan_says_so():
    assert NOTHING in texts(drawn([]))


def test_words_without_room_beside_the_bar_stand_by_its_name():
    whole = replace(PLAIN, start=date(2026, 11, 2), finish=date(2026, 12, 21), critical=True, late=True)
    (said,) = [
        each for each in drawn([whole]).iter(f"{NS}text") if (each.text or "").startswith("late, critical")
    ]
    assert float(said.get("x")) < 320


def test_the_small_bar_says_everything_in_its_title():
    bar = replace(PLAIN, critical=True)
    root = ET.fromstring(mini(bar, date(2026, 11, 2), date(2026, 12, 21), 100, today=date(2026, 11, 26)))
    assert root.find(f"{NS}title").text == "12 Grind the hull, 9–18 Nov, critical, in hand"
    assert (root.get("width"), root.get("role")) == ("100", "img")
    assert len(shapes(root, "job")) == len(shapes(root, "today")) == 1


def test_the_legend_has_only_what_the_plan_has():
    assert [sample.words for sample in legend(sheet([PLAIN]))] == ["job", "days off"]
    words = [sample.words for sample in legend(sheet(away=(Span(date(2026, 12, 1), date(2026, 12, 2)),)))]
    assert len(words) == 10
    assert {"late", "done", "milestone", "booked days", "away"} <= set(words)


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ((2026, 3, 3), (2026, 3, 3), "3 Mar"),
        ((2026, 3, 3), (2026, 3, 9), "3–9 Mar"),
        ((2026, 3, 3), (2026, 4, 2), "3 Mar – 2 Apr"),
        ((2026, 12, 30), (2027, 1, 2), "30 Dec 2026 – 2 Jan 2027"),
    ],
)
def test_days_are_written_as_people_write_them(first, last, words):
    assert between(date(*first), date(*last)) == words


def test_a_line_is_cut_where_its_room_ends():
    assert shortened("Fuel filter", 14, 200) == "Fuel filter"
    cut = shortened("x" * 400, 14, 100)
    assert cut.endswith("…")
    assert wide(cut, 14) <= 100
    assert shortened("Fuel filter", 14, 3) == ""


def test_two_thousand_rows_are_quick():
    rows = [replace(EVERYTHING[at % 8], key=str(at), group=f"System {at // 40}") for at in range(2000)]
    started = time.perf_counter()
    made = svg(sheet(rows), 1132)
    assert time.perf_counter() - started < 3  # a tenth of a second on an idle machine
    assert made.count('<rect class="job') == 1500
