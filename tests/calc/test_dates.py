from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.dates import add_months, expired, last_day_of_month, month_mark

days = st.dates(date(1950, 1, 1), date(2100, 12, 31))


# Computed with relativedelta of python-dateutil. 42 months is the longest life of a flare in 46 CFR
# 160.024-5 and 160.036-5; 12 years that of a disposable extinguisher in 33 CFR 175.310. The mark on the
# thing itself rules.
@pytest.mark.parametrize(
    ("day", "months", "wanted"),
    [
        (date(2022, 8, 31), 42, date(2026, 2, 28)),
        (date(2020, 8, 31), 42, date(2024, 2, 29)),
        (date(2012, 2, 29), 144, date(2024, 2, 29)),
        (date(2024, 2, 29), 24, date(2026, 2, 28)),
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2026, 3, 31), -1, date(2026, 2, 28)),
        (date(2026, 1, 15), -1, date(2025, 12, 15)),
        (date(2026, 12, 31), 0, date(2026, 12, 31)),
        (date(1954, 6, 30), 42, date(1957, 12, 30)),  # made "6-54": the last good month is December 1957
    ],
)
def test_months_are_added_as_published(day, months, wanted):
    assert add_months(day, months) == wanted


@given(days, st.integers(-500, 500))
def test_adding_months_lands_in_the_right_month(day, months):
    moved = add_months(day, months)
    assert (moved.year * 12 + moved.month) - (day.year * 12 + day.month) == months
    assert moved.day == min(day.day, last_day_of_month(moved).day)


@given(days)
def test_the_day_after_the_last_of_a_month_is_a_first(day):
    last = last_day_of_month(day)
    assert (last.year, last.month) == (day.year, day.month)
    assert (last + timedelta(days=1)).day == 1


# 33 CFR 175.125: signals are good while the marked date has not passed.
@given(days)
def test_a_thing_is_good_through_its_marked_day(day):
    assert not expired(day, day)
    assert not expired(day, day - timedelta(days=1))
    assert expired(day, day + timedelta(days=1))


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("03/26", date(2026, 3, 31)),
        (" 3-2026 ", date(2026, 3, 31)),
        ("2026-03", date(2026, 3, 31)),
        ("02/28", date(2028, 2, 29)),
        ("02.2027", date(2027, 2, 28)),
        ("12 26", date(2026, 12, 31)),
    ],
)
def test_a_marked_month_means_its_last_day(text, day):
    assert month_mark(text) == day


@pytest.mark.parametrize(
    "text", ["", "13/26", "0/26", "March", "03/1949", "03/2101", "3/20226", "\uff13/26", "\ud800"]
)
def test_what_is_no_month_is_refused(text):
    with pytest.raises(ValueError, match=r"is not a month|cannot be right") as refused:
        month_mark(text)
    assert str(refused.value).encode()
