from datetime import date, timedelta
from decimal import Decimal

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refit.calc.lead import (
    LeadProblem,
    Learned,
    Terms,
    arrives,
    checked_days,
    learned,
    order_by,
)
from refit.calc.problems import Problem

MONDAY = date(2026, 3, 2)
HOLIDAY = frozenset([date(2026, 2, 16)])


# Figures of numpy.busday_offset and of plain subtraction: ten business days before 2 March 2026, the same with one of
# them a holiday, and seventy calendar days.
@pytest.mark.parametrize(
    ("terms", "day"),
    [
        (Terms(10, working=True), date(2026, 2, 16)),
        (Terms(10, working=True, off=HOLIDAY), date(2026, 2, 13)),
        (Terms(70), date(2025, 12, 22)),
        (Terms(7, 3, working=True), date(2026, 2, 16)),
        (Terms(60, 10), date(2025, 12, 22)),
        (Terms(0), MONDAY),
        (Terms(0, working=True), MONDAY),
        (Terms(0, working=True, off=frozenset([MONDAY])), date(2026, 2, 27)),
        (Terms(1, working=True, weekdays=frozenset([0])), date(2026, 2, 23)),
        (Terms(10_000), date(1998, 10, 15)),
        (Terms(10_000, working=True), date(1987, 11, 2)),
    ],
)
def test_the_last_day_to_order(terms, day):
    assert order_by(MONDAY, terms) == day


@pytest.mark.parametrize(
    ("terms", "ordered", "day"),
    [
        (Terms(10), date(2026, 2, 20), MONDAY),
        (Terms(10, 5), date(2026, 2, 20), MONDAY),  # the margin is for safety: nobody waits for it
        (Terms(10, 5, working=True), date(2026, 2, 16), MONDAY),
        (Terms(0, working=True), date(2026, 2, 28), MONDAY),  # ordered on a Saturday, seen on Monday
        (Terms(1, working=True), date(2026, 2, 27), MONDAY),
        (Terms(1, working=True, off=frozenset([MONDAY])), date(2026, 2, 27), date(2026, 3, 3)),
        (Terms(0), MONDAY, MONDAY),
    ],
)
def test_the_day_it_comes(terms, ordered, day):
    assert arrives(ordered, terms) == day


def test_no_lead_time_is_not_a_lead_time_of_nought():
    assert order_by(MONDAY, Terms(None, 5)) is None
    assert arrives(MONDAY, Terms(None)) is None
    assert order_by(MONDAY, Terms(0)) == arrives(MONDAY, Terms(0)) == MONDAY


@pytest.mark.parametrize("working", [True, False])
def test_days_outside_the_calendar_are_refused_with_words(working):
    for deed in (order_by, arrives):
        with pytest.raises(LeadProblem, match="check the lead time") as refused:
            deed(MONDAY, Terms(4_000_000, working=working))
        assert refused.value.code == "out_of_calendar"
    with pytest.raises(LeadProblem, match="outside the calendar"):
        order_by(date(1, 1, 2), Terms(3, working=working))


@pytest.mark.parametrize("weekdays", [frozenset(), frozenset([7]), frozenset([-1, 2])])
def test_a_supplier_works_on_some_day_of_the_week(weekdays):
    with pytest.raises(Problem, match=r"weekday|day of the week"):
        order_by(MONDAY, Terms(3, working=True, weekdays=weekdays))


@pytest.mark.parametrize("given_days", [{"lead_days": -1}, {"lead_days": 3, "margin_days": -1}])
def test_days_below_nought_are_refused(given_days):
    with pytest.raises(LeadProblem, match="fewer than nought"):
        Terms(**given_days)


@pytest.mark.parametrize(("days", "code"), [(-1, "negative"), (3651, "too_long"), (10_000, "too_long")])
def test_a_lead_time_that_is_a_slip_is_refused(days, code):
    with pytest.raises(LeadProblem, match=str(days)) as refused:
        checked_days(days)
    assert refused.value.code == code
    assert [checked_days(each) for each in (0, 1, 3650)] == [0, 1, 3650]


days_of_years = st.dates(date(2020, 1, 1), date(2030, 12, 31))
weeks = st.frozensets(st.integers(0, 6), min_size=1)
closings = st.frozensets(st.dates(date(2024, 1, 1), date(2026, 12, 31)), max_size=30)


@settings(max_examples=150, deadline=None)
@given(days_of_years, st.integers(0, 600), weeks, closings)
def test_working_days_are_those_of_numpy(day, days, weekdays, off):
    # numpy.busday_offset; what must be here by a day off is here the working day before, what is ordered on one is
    # seen the working day after.
    calendar = {
        "weekmask": [each in weekdays for each in range(7)],
        "holidays": sorted(off),
    }
    terms = Terms(days, working=True, off=off, weekdays=weekdays)
    assert order_by(day, terms) == numpy.busday_offset(day, -days, roll="backward", **calendar).astype(date)
    assert arrives(day, terms) == numpy.busday_offset(day, days, roll="forward", **calendar).astype(date)


@settings(max_examples=150, deadline=None)
@given(days_of_years, st.integers(0, 60), st.integers(0, 10), st.booleans(), weeks, closings)
def test_ordering_by_the_day_is_in_time_and_a_day_later_is_not(day, lead, margin, working, weekdays, off):
    terms = Terms(lead, margin, working, off, weekdays)
    last = order_by(day, terms)
    assert arrives(last, terms) <= day
    if margin == 0:
        assert arrives(last + timedelta(days=1), terms) > day


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        ([], None),
        ([-2], None),
        ([12], Learned((12,), Decimal(12), 12)),
        ([10, 13], Learned((10, 13), Decimal("11.5"), 12)),
        ([10, 10, 10, 30, 41], Learned((30, 41), Decimal(10), 36)),  # it has become slow
        ([30, 30, 30, 5, 6], Learned((5, 6), Decimal(30), 30)),  # two lucky parcels
        ([20, 20, 21, 21], Learned((21, 21), Decimal("20.5"), 21)),
        ([7, -1, 9], Learned((7, 9), Decimal(8), 8)),
        ([0, 0], Learned((0, 0), Decimal(0), 0)),
        ([10**9], Learned((3650,), Decimal(3650), 3650)),
    ],
)
def test_lead_times_learn_from_deliveries(days, expected):
    assert learned(days) == expected


@given(st.lists(st.integers(0, 200), min_size=1, max_size=12))
def test_what_is_learned_is_cautious_and_within_what_was_seen(days):
    found = learned(days)
    assert min(days) <= found.used <= max(days)
    assert found.used >= found.median == Decimal(str(numpy.median(days)))
    assert found.used * len(found.last) >= sum(found.last)
