"""The plan on paper: every job once, rows that shrink before a further sheet is begun, nothing outside its column."""

import subprocess
import time
from dataclasses import replace
from datetime import date, timedelta

import pytest

from refit.reports.axis import Span
from refit.reports.bars import Bar, BarSheet
from refit.reports.page import MARGIN, Page
from refit.reports.plan_sheet import LARGEST, SMALLEST, fitted, plan_pdf
from tests.reports.printed import HOSTILE, outside, words_of
from tests.reports.test_paper import text_of
from tests.tools import need

AS_AT = date(2026, 11, 26)
IDENTITY = ("Kittiwake of Mylor", "official number 401 227")
HANGS = "Launch 14 April hangs on: mast base plate, 9 days late from its maker; stepping the mast."
JOB = Bar("1", "28 Step the mast", date(2027, 3, 22), date(2027, 3, 23), group="Rig")
EVERY_KIND = [
    replace(JOB, critical=True, late=True, state="planned"),
    replace(JOB, label="3 Strip the deck", done=True),
    replace(JOB, label="14 Coat", cure_until=date(2027, 3, 29), late_finish=date(2027, 4, 9)),
    replace(JOB, label="15 Crane", booked=(Span(JOB.start, JOB.finish, "crane and rigger"),)),
    replace(JOB, label="Launch", start=date(2027, 4, 14), finish=date(2027, 4, 14), milestone=True),
]


def sheet(rows, **changes) -> BarSheet:
    values = {"title": "Plan", "first": date(2026, 11, 2), "last": date(2027, 4, 20), "today": AS_AT}
    return BarSheet(rows=rows, **{**values, **changes})


def pdf(rows, page=Page.LANDSCAPE, hangs_on=HANGS, **changes) -> bytes:
    return plan_pdf(sheet(rows, **changes), identity=IDENTITY, as_at=AS_AT, hangs_on=hangs_on, page=page)


def many(count: int, to_a_group: int = 9) -> list[Bar]:
    return [
        replace(
            EVERY_KIND[at % 4],
            label=f"J{at:04} job",
            group=f"System {at // to_a_group}",
            start=date(2026, 11, 2) + timedelta(at % 90),
            finish=date(2026, 11, 9) + timedelta(at % 90),
        )
        for at in range(count)
    ]


def test_every_sheet_says_whose_it_is_and_the_first_what_the_launch_hangs_on():
    pages = text_of(pdf(many(120)))
    assert len(pages) > 2
    for number, page in enumerate(pages, 1):
        for words in ("Plan", *IDENTITY, "As at 26 Nov 2026", "Prepared by the owner, not verified", "today"):
            assert words in page
        assert f"Page {number} of {len(pages)}" in page
        assert "days to spare" in page  # the legend
    assert [HANGS in page for page in pages] == [True] + [False] * (len(pages) - 1)


def test_every_job_is_printed_once_with_its_dates():
    found = [word.text for word in words_of(pdf(many(120), Page.LARGE))]
    assert [found.count(f"J{at:04}") for at in range(120)] == [1] * 120
    assert "22–23 Mar" in text_of(pdf([JOB]))[0]


@pytest.mark.parametrize(("page", "size"), [(Page.LANDSCAPE, (842, 595)), (Page.LARGE, (1191, 842))])
def test_the_paper_is_a4_or_a3(page, size):
    # ISO 216: A4 is 210 × 297 mm, A3 297 × 420 mm
    told = subprocess.run([need("pdfinfo"), "-"], input=pdf([JOB], page), capture_output=True, check=True)
    line = next(line for line in told.stdout.decode().splitlines() if line.startswith("Page size:"))
    wide, high = (float(side) for side in line.removeprefix("Page size:").split("pts")[0].split(" x "))
    assert [wide, high] == pytest.approx(size, abs=0.6)


@pytest.mark.parametrize(("count", "pages"), [(0, 1), (1, 1), (20, 1), (38, 1), (60, 2)])
def test_a_season_fits_on_one_sheet_of_a4_and_more_goes_on(count, pages):
    assert len(text_of(pdf(many(count, 1000)))) == pages


def test_a_large_sheet_holds_sixty_jobs():
    assert len(text_of(pdf(many(60), Page.LARGE))) == 1


def test_rows_shrink_before_a_sheet_is_added_and_no_further_than_can_be_read():
    heights = [fitted(many(count, 1000), 400, 440)[0] for count in (1, 20, 30, 40, 200)]
    assert heights[0] == LARGEST
    assert heights[:4] == sorted(heights[:4], reverse=True)
    assert all(SMALLEST <= height <= LARGEST for height in heights)


@pytest.mark.parametrize("count", [44, 90, 200, 333])
def test_rows_keep_their_order_and_a_group_never_stands_alone(count):
    rows = many(count, 7)
    row, pages = fitted([line for bar in rows for line in ([bar.group] * (bar is rows[0]) + [bar])], 380, 420)
    assert [line for page in pages for line in page if isinstance(line, Bar)] == rows
    for number, page in enumerate(pages):
        assert isinstance(page[-1], Bar)
        assert len(page) * row <= (420 if number else 380) + 0.01


def test_a_group_that_goes_on_says_so():
    later = text_of(pdf(many(90, 1000)))[1]
    assert "System 0, continued" in later


def test_hostile_names_are_words_in_their_column():
    rows = [replace(bar, label=words, state=words, group=words) for words in HOSTILE for bar in EVERY_KIND]
    away = tuple(Span(date(2026, 12, 1), date(2026, 12, 20), words) for words in HOSTILE)
    made = pdf(rows, hangs_on=" ".join(HOSTILE), title="".join(HOSTILE), away=away)
    assert outside(made, *Page.LANDSCAPE.value, MARGIN) == []
    found = words_of(made)
    dates = next(word.left for word in found if word.text == "22–23")
    # A group's name has the whole of its row; a job's ends before the dates.
    beside = {(word.page, round(word.top)) for word in found if word.left == pytest.approx(dates)}
    names = [word for word in found if word.left < dates and (word.page, round(word.top)) in beside]
    assert len(names) >= len(rows)
    assert [word for word in names if word.right > dates] == []
    assert "<script>alert(1)</script>" in {word.text for word in names}


def test_what_is_critical_or_late_is_said_in_words():
    (page,) = text_of(pdf(EVERY_KIND))
    assert "late, critical, planned" in page
    assert "crane and rigger" in page


def test_an_empty_plan_says_so():
    assert "No jobs in these days." in text_of(pdf([], hangs_on=""))[0]


def test_the_same_plan_gives_the_same_file():
    assert pdf(EVERY_KIND) == pdf(EVERY_KIND)


def test_two_thousand_jobs_are_quick():
    started = time.perf_counter()
    made = pdf(many(2000), Page.LARGE)
    assert time.perf_counter() - started < 15  # under a second on an idle machine
    assert made.count(b"/Type /Page\n") == 32
