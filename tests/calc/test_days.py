from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.numbers import DayProblem, parse_day

TODAY = date(2026, 3, 10)
NINTH = date(2026, 3, 9)


NUMERIC = ["2026-03-09", "2026-3-9", "9.3.2026", "09.03.2026", "9/3/2026", "9. 3. 2026", "9-3-2026"]
NAMED = ["9 Mar 2026", "9 march 2026", "9 March", "9 MAR", "9th March 2026", "9-Mar-2026", "9. March 2026"]
SHORT = ["9.3.26", "9/3/26", "9 Mar 26", "  9   Mar\u00a02026 "]


@pytest.mark.parametrize("text", [*NUMERIC, *NAMED, *SHORT])
def test_every_usual_way_of_writing_the_ninth_of_march(text):
    assert parse_day(text, TODAY) == NINTH


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("today", TODAY),
        ("Yesterday", NINTH),
        ("29 Feb 2028", date(2028, 2, 29)),
        ("1 Sept 2026", date(2026, 9, 1)),
        ("1950-01-01", date(1950, 1, 1)),
        ("31.12.2100", date(2100, 12, 31)),
        ("1.1.00", date(2000, 1, 1)),
    ],
)
def test_days_as_people_type_them(text, day):
    assert parse_day(text, TODAY) == day


def test_yesterday_crosses_a_year():
    assert parse_day("yesterday", date(2026, 1, 1)) == date(2025, 12, 31)


REFUSED = {
    "empty": ["", " "],
    "not_a_day": [
        "tomorrow",
        "9",
        "26-03-09",
        "9.3/2026",
        "9 Foo 2026",
        "March",
        "2026",
        "9.3.",
        "9 Mar 2026 10:00",
        "\uff19.3.2026",
        "9.3.2026\0",
        "\ud800",
        "٩.٣.2026",
        "9" * 100_000,
    ],
    "out_of_range": ["20226-03-09", "0001-01-01", "31.12.1949", "1.1.2101", "9 Mar 20226"],
    "no_such_day": ["31.2.2026", "29 Feb 2026", "3/25/2026", "2026-13-01", "0.1.2026", "1.0.2026"],
}


@pytest.mark.parametrize(
    ("code", "text"), [(code, text) for code, texts in REFUSED.items() for text in texts]
)
def test_what_is_no_day_is_refused(code, text):
    with pytest.raises(DayProblem) as refused:
        parse_day(text, TODAY)
    assert refused.value.code == code
    assert len(str(refused.value).encode()) < 300


def test_the_refusal_says_what_to_do():
    with pytest.raises(DayProblem, match="“3/25/2026” is not in the calendar; the day comes first"):
        parse_day("3/25/2026", TODAY)
    with pytest.raises(DayProblem, match="“20226-03-09” has a year that cannot be right"):
        parse_day("20226-03-09", TODAY)


@given(st.dates(date(1950, 1, 1), date(2100, 12, 31)))
def test_every_way_of_writing_a_day_means_the_same(day):
    written = [day.isoformat(), f"{day.day}.{day.month}.{day.year}", f"{day.day}/{day.month}/{day.year}"]
    written += [f"{day:%d %b %Y}", f"{day:%d %B %Y}"]
    assert {parse_day(text, TODAY) for text in written} == {day}


@given(st.text(max_size=20))
def test_any_text_is_a_day_or_refused(text):
    try:
        day = parse_day(text, TODAY)
    except DayProblem:
        return
    assert 1950 <= day.year <= 2100
