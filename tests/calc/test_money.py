from decimal import Decimal
from fractions import Fraction

import iso4217
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.money import allocate, convert, from_minor, minor_digits, round_half_up, to_minor

# ISO 4217 list one, published 2024-06-25, open data "currency-codes" (column MinorUnit): 178 active codes.
NO_DIGITS = [
    "BIF",
    "CLP",
    "DJF",
    "GNF",
    "ISK",
    "JPY",
    "KMF",
    "KRW",
    "PYG",
    "RWF",
    "UGX",
    "UYI",
    "VND",
    "VUV",
    "XAF",
    "XOF",
    "XPF",
]
THREE_DIGITS = ["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"]
FOUR_DIGITS = ["CLF", "UYW"]
# The same list says N.A. for these; those after XXX as the iso4217 package lists them.
NO_MINOR_UNIT = ["XAU", "XDR", "XTS", "XXX", "XAG", "XBA", "XBB", "XBC", "XBD", "XPD", "XPT", "XSU", "XUA"]

amounts = st.integers(-(10**12), 10**12)
weights = st.lists(
    st.one_of(st.integers(0, 10**9), st.decimals(0, 10**6, allow_nan=False, places=3)),
    min_size=1,
    max_size=30,
)


def test_minor_digits_follow_iso_4217_for_every_code():
    codes = {currency.code for currency in iso4217.Currency}
    assert len(codes) == 178
    for code in codes - set(NO_MINOR_UNIT):
        wanted = 0 if code in NO_DIGITS else 3 if code in THREE_DIGITS else 4 if code in FOUR_DIGITS else 2
        assert minor_digits(code) == wanted, code
    assert codes >= {*NO_DIGITS, *THREE_DIGITS, *FOUR_DIGITS, *NO_MINOR_UNIT}


# Codes a cruising boat meets, as ISO 4217 has them, and some where CLDR differs from ISO (so Babel is no
# guide).
@pytest.mark.parametrize(
    ("code", "digits"),
    [
        ("AUD", 2),
        ("NZD", 2),
        ("FJD", 2),
        ("TOP", 2),
        ("XPF", 0),
        ("VUV", 0),
        ("ISK", 0),
        ("ALL", 2),
        ("RSD", 2),
        ("IQD", 3),
        ("MGA", 2),
        ("GBP", 2),
        ("SEK", 2),
        ("EUR", 2),
    ],
)
def test_minor_digits_of_cruising_currencies(code, digits):
    assert minor_digits(code) == digits


@pytest.mark.parametrize("code", [*NO_MINOR_UNIT, "ZZZ", "", "gbp", "GBP ", "£", "HRK", "\0", "GB"])
def test_what_has_no_minor_unit_is_refused(code):
    with pytest.raises(ValueError, match=r"currency|minor unit"):
        minor_digits(code)


@pytest.mark.parametrize(
    ("value", "rounded"),
    [
        ("0", 0),
        ("0.4", 0),
        ("0.5", 1),
        ("1.5", 2),
        ("2.5", 3),
        ("-0.5", -1),
        ("-2.5", -3),
        ("-2.4", -2),
        ("2.499999999999999999999999999999999", 2),
        ("1E+3", 1000),
    ],
)
def test_halves_round_away_from_nought(value, rounded):
    assert round_half_up(Decimal(value)) == rounded
    assert round_half_up(Fraction(Decimal(value))) == rounded


@given(st.fractions())
def test_rounding_mirrors_and_is_never_more_than_half_off(value):
    assert round_half_up(-value) == -round_half_up(value)
    assert abs(round_half_up(value) - value) <= Fraction(1, 2)


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity"])
def test_no_number_is_no_amount(value):
    with pytest.raises(ValueError, match="not an amount"):
        round_half_up(Decimal(value))


@pytest.mark.parametrize(
    ("amount", "currency", "minor"),
    [
        ("12.34", "GBP", 1234),
        ("12.345", "GBP", 1235),
        ("-12.345", "GBP", -1235),
        ("12.5", "JPY", 13),
        ("1.2345", "KWD", 1235),
        ("1.23455", "CLF", 12346),
        ("0", "EUR", 0),
    ],
)
def test_amounts_become_minor_units(amount, currency, minor):
    assert to_minor(Decimal(amount), currency) == minor


@given(st.integers(-(10**40), 10**40), st.sampled_from(["JPY", "GBP", "KWD", "CLF"]))
def test_minor_units_come_back_exactly_however_many(minor, currency):
    amount = from_minor(minor, currency)
    assert to_minor(amount, currency) == minor
    assert amount.as_tuple().exponent == -minor_digits(currency)


def test_from_minor_shows_all_digits():
    assert str(from_minor(1200, "GBP")) == "12.00"
    assert str(from_minor(-5, "KWD")) == "-0.005"
    assert str(from_minor(1200, "JPY")) == "1200"


# 1790 census of the United States, as tabled on the electowiki page on Hamilton's method: VA MA PA NC NY MD
# CT SC NJ NH VT GA KY RI DE. That page apportions 60 units to 52 floors and these quotas.
CENSUS_1790 = [630560, 475327, 432879, 353523, 331589, 278514, 236841, 206236]
CENSUS_1790 += [179570, 141822, 85533, 70835, 68705, 68446, 55540]
FLOORS_60 = [10, 7, 7, 5, 5, 4, 3, 3, 2, 2, 1, 1, 1, 1, 0]


def test_the_census_of_1790_is_apportioned_as_published():
    assert sum(CENSUS_1790) == 3_615_920
    assert [60 * people // 3_615_920 for people in CENSUS_1790] == FLOORS_60
    assert sum(FLOORS_60) == 52
    assert allocate(60, CENSUS_1790) == [11, 8, 7, 6, 6, 5, 4, 3, 3, 2, 1, 1, 1, 1, 1]


# Constructed figures, the arithmetic checked by hand.
@pytest.mark.parametrize(
    ("total", "over", "shares"),
    [
        (10000, [1, 1, 1], [3334, 3333, 3333]),
        (5, [70, 30], [4, 1]),
        (1875, [Decimal("199.99"), Decimal("45.50"), Decimal("1.25")], [1520, 346, 9]),
        (1234, [Decimal("199.99"), Decimal("45.50"), Decimal("1.25")], [1000, 228, 6]),
        (-10000, [1, 1, 1], [-3334, -3333, -3333]),
        (100, [0, 1, 0], [0, 100, 0]),
        (0, [3, 4], [0, 0]),
        (7, [0, 0, 0], [3, 2, 2]),
        (-7, [0, 0, 0], [-3, -2, -2]),
        (7, [5], [7]),
        (1, [1, 1], [1, 0]),
        (0, [], []),
    ],
)
def test_shares_in_known_cases(total, over, shares):
    assert allocate(total, over) == shares


@given(amounts, weights)
def test_shares_add_up_and_keep_the_quota(total, over):
    shares = allocate(total, over)
    assert sum(shares) == total
    assert allocate(-total, over) == [-share for share in shares]
    everything = sum(map(Fraction, over))
    for share, weight in zip(shares, over, strict=True):
        quota = Fraction(total) * Fraction(weight) / everything if everything else Fraction(total, len(over))
        assert abs(share - quota) < 1
        if everything and not weight:
            assert share == 0


@given(amounts, st.lists(st.integers(1, 10**9), min_size=2, max_size=12), st.randoms(use_true_random=False))
def test_order_matters_only_for_ties(total, over, random):
    everything = sum(over)
    remainders = [abs(total) * weight % everything for weight in over]
    order = list(range(len(over)))
    random.shuffle(order)
    before, after = allocate(total, over), allocate(total, [over[place] for place in order])
    if len(set(remainders)) == len(remainders):
        assert after == [before[place] for place in order]
    else:
        assert sum(after) == sum(before)


@given(amounts, st.lists(st.decimals(0, 10**6, places=3), min_size=1, max_size=12))
def test_shares_do_not_depend_on_the_unit_of_weight(total, over):
    # 1 lb = 0.45359237 kg exactly: NIST SP 811, Appendix B.
    pounds = [weight * Decimal("0.45359237") for weight in over]
    assert allocate(total, pounds) == allocate(total, over)


@pytest.mark.parametrize(
    ("total", "over"),
    [(1, []), (1, [-1, 2]), (0, [-1]), (1, [Decimal("NaN")]), (1, [Decimal("Infinity"), 1])],
)
def test_shares_without_sense_are_refused(total, over):
    with pytest.raises(ValueError, match=r"share|amount"):
        allocate(total, over)


# European Central Bank reference rates, units for one euro: 2024-06-28 USD 1.0705, GBP 0.84638, JPY 171.94;
# 2024-12-31 USD 1.0389, GBP 0.82918.
@pytest.mark.parametrize(
    ("minor", "currency", "home", "rate", "wanted"),
    [
        (10705, "USD", "EUR", "1.0705", 10000),
        (10000, "USD", "GBP", str(Decimal("1.0705") / Decimal("0.84638")), 7906),  # 79.06398878
        (10000, "USD", "GBP", str(Decimal("1.0389") / Decimal("0.82918")), 7981),  # 79.81326402
        (17194, "JPY", "EUR", "171.94", 10000),
        (10000, "EUR", "JPY", str(1 / Decimal("171.94")), 17194),
        (1342, "SEK", "GBP", "13.42", 100),
        (671, "SEK", "GBP", "1342", 1),  # exactly half a penny
        (-671, "SEK", "GBP", "1342", -1),
        (12345, "GBP", "GBP", "1", 12345),
        (1000, "KWD", "GBP", "0.4", 250),
        (0, "SEK", "GBP", "13.42", 0),
    ],
)
def test_money_changes_currency_rounded_once(minor, currency, home, rate, wanted):
    assert convert(minor, currency, home, Decimal(rate)) == wanted


@pytest.mark.parametrize("rate", ["0", "-1", "NaN"])
def test_a_rate_that_cannot_be_is_refused(rate):
    with pytest.raises(ValueError, match=r"rate|amount"):
        convert(100, "SEK", "GBP", Decimal(rate))
