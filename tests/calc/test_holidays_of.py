import socket
import warnings
from datetime import date

import pytest

from refit.calc.holidays_of import HolidayProblem, countries, holidays_of, parts_of
from refit.calc.lead import Terms, order_by


def test_a_country_and_its_parts_have_holidays_of_their_own():
    # Bank holidays as the government of the United Kingdom gives them out (from memory): Good Friday 3 April 2026 is kept everywhere, Easter Monday 6
    # April not in Scotland, which keeps 30 November.
    england, scotland = holidays_of("GB", "ENG", [2026]), holidays_of("GB", "SCT", [2026])
    assert {date(2026, 4, 3), date(2026, 4, 6), date(2026, 12, 25)} <= england
    assert date(2026, 4, 3) in scotland
    assert date(2026, 4, 6) not in scotland
    assert date(2026, 11, 30) in scotland - england
    assert date(2026, 12, 28) in england  # the 26th is a Saturday


def test_holidays_move_an_order_by_date():
    off = holidays_of("GB", "ENG", [2026])
    day = date(2026, 4, 8)
    assert order_by(day, Terms(3, working=True)) == date(2026, 4, 3)
    assert order_by(day, Terms(3, working=True, off=off)) == date(2026, 4, 1)


@pytest.mark.parametrize("country", ["XX", "gb", "", "GB\0", "Utopia", "UK"])
def test_no_country_is_refused_kindly(country):
    for ask in (lambda: holidays_of(country, None, [2026]), lambda: parts_of(country)):
        with pytest.raises(HolidayProblem, match="pick one from the list") as refused:
            ask()
        assert refused.value.code == "no_such_country"


def test_no_part_of_a_country_is_refused_kindly():
    with pytest.raises(HolidayProblem, match=r"“BY” is no part of GB") as refused:
        holidays_of("GB", "BY", [2026])
    assert refused.value.code == "no_such_part"
    assert holidays_of("GB", "", [2026]) == holidays_of("GB", None, [2026])


def test_choices_have_codes_and_names_by_name():
    rows = countries()
    assert {("GB", "United Kingdom"), ("CL", "Chile"), ("SE", "Sweden")} <= set(rows)
    assert [name for _, name in rows] == sorted(name for _, name in rows)
    assert len({code for code, _ in rows}) == len(rows) > 200
    assert parts_of("GB") == [
        ("ENG", "England"),
        ("NIR", "Northern Ireland"),
        ("SCT", "Scotland"),
        ("WLS", "Wales"),
    ]
    assert parts_of("VA") == []


def test_no_country_warns_or_asks_the_world(monkeypatch):
    def refused(*_, **__):
        raise AssertionError("the world was asked")

    monkeypatch.setattr(socket, "socket", refused)
    years = (1950, 1999, 2026, 2036, 2100)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = {code: holidays_of(code, None, years) for code, _ in countries()}
    assert all(day.year in years for days in found.values() for day in days)
    with_some = sum(any(day.year == 2026 for day in days) for days in found.values())
    assert with_some > 240


def test_years_without_knowledge_give_none():
    assert holidays_of("IN", None, [1990, 2050]) == frozenset()
    assert holidays_of("IN", None, [2026])
    assert holidays_of("GB", None, []) == frozenset()
