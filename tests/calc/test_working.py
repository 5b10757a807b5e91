"""Working days against numpy's business days."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refit.calc.problems import Problem
from refit.calc.working import WorkingDays

WEEK = WorkingDays(frozenset(range(5)))

days = st.dates(date(2020, 1, 1), date(2030, 12, 31))
weeks = st.frozensets(st.integers(0, 6), min_size=1)
aways = st.lists(st.one_of(days, st.tuples(days, st.integers(0, 40))), max_size=8)


def calendars(week, away):
    """Return our calendar and numpy's of the same days away."""
    spans = [(day[0], day[0] + timedelta(day[1])) if isinstance(day, tuple) else day for day in away]
    off = []
    for span in spans:
        first, last = span if isinstance(span, tuple) else (span, span)
        off += [first + timedelta(days=count) for count in range((last - first).days + 1)]
    theirs = np.busdaycalendar("".join("1" if day in week else "0" for day in range(7)), off)
    return WorkingDays(week, spans), theirs


@given(weeks, aways, days, days, st.integers(-400, 400))
@settings(max_examples=120)
def test_numpy_counts_the_same(week, away, day, other, count):
    ours, theirs = calendars(week, away)
    first, until = sorted((day, other))

    def offset(n, roll):
        return np.busday_offset(day, n, roll, busdaycal=theirs).item()

    assert ours.add(day, count) == offset(count, "forward")
    assert (ours.next(day), ours.previous(day)) == (offset(0, "forward"), offset(0, "backward"))
    assert ours.works(day) == bool(np.is_busday(day, busdaycal=theirs))
    assert ours.count(first, until) == np.busday_count(first, until, busdaycal=theirs)
    assert ours.count(until, first) == -ours.count(first, until)


def test_ten_working_days_back_as_published_by_numpy():
    """numpy.busday_offset: 2 March 2026 less 10 is 16 February, 13 February where the 16th is a holiday."""
    assert WEEK.add(date(2026, 3, 2), -10) == date(2026, 2, 16)
    assert WorkingDays(frozenset(range(5)), {date(2026, 2, 16)}).add(date(2026, 3, 2), -10) == date(
        2026, 2, 13
    )


def test_ten_thousand_days_and_back():
    far = WEEK.add(date(2026, 3, 2), 10_000)
    assert far == np.busday_offset("2026-03-02", 10_000).item()
    assert (WEEK.count(date(2026, 3, 2), far), WEEK.add(far, -10_000)) == (10_000, date(2026, 3, 2))


@pytest.mark.parametrize(
    ("week", "away", "code"),
    [
        (frozenset(), (), "no-working-day"),
        (frozenset({7}), (), "weekday"),
        (frozenset({0}), ((date(2026, 3, 9), date(2026, 3, 8)),), "away"),
    ],
)
def test_days_on_which_nothing_could_be_done_are_refused(week, away, code):
    with pytest.raises(Problem) as refused:
        WorkingDays(week, away)
    assert refused.value.code == code


def test_away_to_the_end_of_all_calendars_is_refused_not_looked_for():
    for_ever = WorkingDays(frozenset({0}), ((date(2026, 1, 1), date.max),))
    with pytest.raises(Problem) as refused:
        for_ever.next(date(2026, 3, 9))
    assert refused.value.code == "too-far"
