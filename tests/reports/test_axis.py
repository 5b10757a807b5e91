"""Days along a line: every day as wide as the next, months and Mondays where the calendar has them."""

import time
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.reports.axis import EVERY_DAY, Axis, Span

DAYS = st.dates(date(1990, 1, 1), date(2060, 1, 1))


def axis(first="2026-11-02", last="2027-04-20", left=100, width=850) -> Axis:
    return Axis(date.fromisoformat(first), date.fromisoformat(last), left, width)


def test_the_days_fill_the_width():
    line = axis("2026-03-01", "2026-03-10", 100, 500)
    assert (line.days, line.step, line.right) == (10, 50, 600)
    assert line.start_of(date(2026, 3, 1)) == 100
    assert line.end_of(date(2026, 3, 10)) == 600
    assert line.middle_of(date(2026, 3, 2)) == 175
    assert line.within(line.end_of(date(2026, 5, 1))) == 600


def test_an_end_before_the_beginning_is_refused():
    with pytest.raises(ValueError, match="ends on 2026-03-01 before it begins"):
        axis("2026-03-02", "2026-03-01")


def test_months_are_named_and_years_where_they_begin():
    assert [(mark.words, mark.day.day) for mark in axis().months(60)] == [
        *(("Nov 2026", 2), ("Dec", 1), ("Jan 2027", 1), ("Feb", 1), ("Mar", 1), ("Apr", 1))
    ]


def test_a_month_that_is_nearly_over_gives_way_to_the_next():
    assert [mark.words for mark in axis("2026-11-29", "2027-01-20").months(60)] == ["Dec 2026", "Jan 2027"]


@pytest.mark.parametrize(
    ("last", "words"),
    [
        ("2028-11-02", ["Jan 2027", "Apr", "Jul", "Oct", "Jan 2028"]),
        ("2046-11-02", ["2026", "2030", "2035"]),
        ("9999-12-31", ["2026", "3000", "4000"]),
    ],
)
def test_where_months_would_touch_fewer_are_named(last, words):
    named = [mark.words for mark in axis(last=last).months(90)]
    assert named[: len(words)] == words
    assert len(named) <= 850 / 90 + 1


@given(DAYS, st.integers(0, 3000))
def test_names_never_touch_and_never_leave_the_line(first, days):
    line = Axis(first, first + timedelta(days), 100, 850)
    marks = line.months(60)
    assert all(b.x - a.x >= 54 for a, b in pairwise(marks))  # February is short
    assert all(100 <= mark.x <= 950 for mark in [*marks, *line.weeks(20)])
    assert marks


@given(DAYS, st.integers(0, 300), st.frozensets(st.integers(0, 6)))
def test_days_off_are_those_whose_weekday_is_no_workday(first, days, workdays):
    line = Axis(first, first + timedelta(days), 0, 7.0 * (days + 1))
    off = {at for a, b in line.idle(workdays) for at in range(round(a / 7), round(b / 7))}
    assert off == {at for at in range(days + 1) if (first + timedelta(at)).weekday() not in workdays}


def test_days_too_narrow_to_see_are_not_shaded():
    assert list(axis(last="2036-01-01").idle(frozenset(range(5)))) == []
    assert list(axis().idle(EVERY_DAY)) == []


def test_weeks_are_mondays():
    marks = axis().weeks(20)
    assert [mark.words for mark in marks][:3] == ["2", "9", "16"]
    assert {mark.day.weekday() for mark in marks} == {0}
    assert axis(last="2030-01-01").weeks(20) == []


def test_spans_are_cut_to_the_line_and_left_out_beyond_it():
    line = axis("2026-03-01", "2026-03-10", 0, 100)
    spans = [
        Span(date(2026, 2, 1), date(2026, 3, 2), "before"),
        Span(date(2026, 3, 10), date(2026, 5, 1), "after"),
        Span(date(2026, 1, 1), date(2026, 2, 28), "gone"),
    ]
    assert [(a, b, span.words) for a, b, span in line.spans(spans)] == [(0, 20, "before"), (90, 100, "after")]


def test_all_of_time_is_quick():
    started = time.perf_counter()
    line = Axis(date.min, date.max, 0, 800)
    assert len(line.months(60)) < 15
    assert list(line.idle(frozenset())) == []
    assert time.perf_counter() - started < 1
