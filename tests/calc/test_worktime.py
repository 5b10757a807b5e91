"""Days of work and hours as people type them."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.problems import Problem
from refit.calc.worktime import days_in_words, hours_and_minutes, parse_days, parse_minutes, worth

D = Decimal


@pytest.mark.parametrize(
    ("typed", "days"),
    [
        ("3", "3"),
        ("0", "0"),
        ("0.5", "0.5"),
        ("0,5", "0.5"),
        (" 2 days ", "2"),
        ("1d", "1"),
        ("2 h", "0.25"),
        ("4 hours", "0.5"),
        ("4HRS.", "0.5"),
        ("1:30", "0.188"),  # an hour and a half: 1.5 / 8, to the thousandth, half up
        ("90 min", "0.188"),
        ("12 h", "1.5"),
        ("1000", "1000"),
        ("8000 h", "1000"),
    ],
)
def test_days_of_work_are_read(typed, days):
    assert parse_days(typed) == D(days)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        " ",
        "x",
        "-1",
        "1e3",
        "1001",
        "8001 h",
        "2 weeks",
        "1.005",
        "1:60",
        "1:5",
        "٣",
        "NaN",
        "2 h 3",
        ":30",
    ],
)
def test_what_is_no_days_of_work_is_refused(typed):
    with pytest.raises(Problem) as refused:
        parse_days(typed)
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize(
    ("typed", "minutes"),
    [
        ("2", 120),
        ("0", 0),
        ("1.5", 90),
        ("1,5", 90),
        ("1:30", 90),
        ("0:05", 5),
        ("90 min", 90),
        ("90m", 90),
        ("1.25 h", 75),
        ("0.33", 20),
        ("24", 1440),
        ("24:00", 1440),
    ],
)
def test_hours_are_read(typed, minutes):
    assert parse_minutes(typed) == minutes


@pytest.mark.parametrize(
    "typed", ["", "x", "-1", "24:01", "25", "1441 min", "1e1", "2 days", "1:75", "9999:00"]
)
def test_what_is_no_hours_is_refused(typed):
    with pytest.raises(Problem) as refused:
        parse_minutes(typed)
    assert str(refused.value).endswith(".")


@given(st.integers(0, 1440))
def test_hours_and_minutes_are_read_back(minutes):
    assert parse_minutes(hours_and_minutes(minutes)) == minutes


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ("3", "3 days"),
        ("1", "1 day"),
        ("0.25", "2 hours"),
        ("0.125", "1 hour"),
        ("0", "0 days"),
        ("1.5", "1.5 days"),
    ],
)
def test_days_are_said(days, said):
    assert days_in_words(D(days)) == said


@pytest.mark.parametrize(
    ("minutes", "rate", "value"), [(60, 2500, 2500), (90, 2500, 3750), (1, 30, 1), (1, 29, 0), (0, 2500, 0)]
)
def test_work_is_worth_its_hours_half_up(minutes, rate, value):
    assert worth(minutes, rate) == value
