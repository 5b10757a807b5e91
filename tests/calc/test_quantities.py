from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.quantities import from_thousandths, to_thousandths


@pytest.mark.parametrize(
    ("quantity", "thousandths"),
    [
        ("0", 0),
        ("1", 1000),
        ("0.001", 1),
        ("4.3", 4300),
        ("-2.5", -2500),
        ("1.5000000", 1500),
        ("1E+2", 100000),
        ("999999.999", 999_999_999),
        ("-0", 0),
        ("0E-5000", 0),
        ("0E+5000", 0),
    ],
)
def test_quantities_become_thousandths(quantity, thousandths):
    assert to_thousandths(Decimal(quantity)) == thousandths


@pytest.mark.parametrize(
    ("quantity", "said"),
    [
        ("0.0001", "three decimals"),
        ("1E-999999", "three decimals"),
        ("999999.9999", "three decimals"),
        ("1000000", "below"),
        ("-1000000", "below"),
        ("1E+999999", "below"),
        ("NaN", "not a"),
        ("Infinity", "not a"),
    ],
)
def test_what_is_too_fine_or_too_large_is_refused(quantity, said):
    with pytest.raises(ValueError, match=said):
        to_thousandths(Decimal(quantity))


@pytest.mark.parametrize(
    ("thousandths", "text"),
    [(0, "0"), (1000, "1"), (100_000, "100"), (4300, "4.3"), (1, "0.001"), (-2500, "-2.5"), (-1, "-0.001")],
)
def test_thousandths_read_without_noughts_or_exponent(thousandths, text):
    assert str(from_thousandths(thousandths)) == text


@given(st.integers(-999_999_999, 999_999_999))
def test_thousandths_come_back(thousandths):
    assert to_thousandths(from_thousandths(thousandths)) == thousandths


def test_three_tenths_is_three_times_a_tenth():
    assert sum(to_thousandths(Decimal("0.1")) for _ in range(3)) == to_thousandths(Decimal("0.3"))
