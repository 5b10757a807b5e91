"""Quantities are whole thousandths inside: what a float or a DecimalField on SQLite gets wrong is exact here."""

from decimal import Decimal as D

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from hypothesis import given
from hypothesis import strategies as st

from refit.boat.fields import QuantityField, tidy
from refit.stores.actions import stow
from refit.stores.models import Holding, Need

FIELD = QuantityField()


def test_a_tenth_can_be_taken_three_times_from_three_tenths(make, clean_ledger):
    """A DecimalField on SQLite refuses the third."""
    holding = make.stock(make.part(unit="m"), make.place(), "0.3")
    for left in ("0.2", "0.1", "0"):
        stow.take(holding, D("0.1"), by=make.owner, on=make.today, today=make.today)
        holding.refresh_from_db()
        assert holding.quantity == D(left)


def test_a_hundred_thousand_tenths_are_ten_thousand(make):
    """Summed by the database, to the last digit."""
    job, part = make.job(), make.part()
    Need.objects.bulk_create(
        [Need(boat=make.boat, job=job, part=part, quantity=D("0.1")) for _ in range(100_000)],
        batch_size=10_000,
    )
    total = Need.objects.aggregate(total=Sum("quantity"))["total"]
    assert total == D(10_000)
    assert str(total) == "10000"


@pytest.mark.parametrize(
    ("written", "inside"),
    [
        ("0", 0),
        ("0.001", 1),
        ("1", 1000),
        ("1.5", 1500),
        ("1.500", 1500),
        ("-2.25", -2250),
        ("999999.999", 999_999_999),
    ],
)
def test_what_is_kept(written, inside):
    """A thousandth is the least; noughts at the end mean nothing."""
    assert FIELD.get_prep_value(D(written)) == inside
    assert FIELD.from_db_value(inside, None, None) == D(written)


@pytest.mark.parametrize("written", ["0.0001", "1.2345", "0.3333333", "1e-9"])
def test_a_fourth_place_is_refused(written):
    """It would be lost without a word."""
    with pytest.raises(ValidationError) as refused:
        FIELD.get_prep_value(D(written))
    assert refused.value.code == "places"


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("lots", "not_a_number"),
        ("1,5", "not_a_number"),
        ("1e30", "too_large"),
        ("-1e30", "too_large"),
        ("NaN", "too_large"),
        ("Infinity", "too_large"),
        ("9223372036854775.808", "too_large"),
    ],
)
def test_what_is_no_quantity_is_refused(written, code):
    """Never a crash of the database's own."""
    with pytest.raises(ValidationError) as refused:
        FIELD.get_prep_value(written)
    assert refused.value.code == code


def test_a_fourth_place_never_reaches_the_table(make):
    """Nor is it rounded on the way."""
    holding = make.stock(make.part(), make.place(), 3)
    for quantity in ("1.0001", "2.9999"):
        with pytest.raises(ValidationError), transaction.atomic():
            Holding.objects.filter(pk=holding.pk).update(quantity=D(quantity))
    holding.refresh_from_db()
    assert holding.quantity == 3


@pytest.mark.parametrize(("value", "fine"), [("999999.999", True), ("1000000", False), ("-1000000", False)])
def test_a_quantity_stays_below_a_million(value, fine):
    """The form's own check."""
    if fine:
        FIELD.validate(D(value), None)
    else:
        with pytest.raises(ValidationError) as refused:
            FIELD.validate(D(value), None)
        assert refused.value.code == "too_large"


def test_nothing_stays_nothing():
    """An empty column is empty outside too."""
    assert FIELD.get_prep_value(None) is None
    assert FIELD.to_python("") is None
    assert FIELD.from_db_value(None, None, None) is None


@given(st.integers(-(10**9), 10**9))
def test_in_and_out_is_the_same(thousandths):
    """Whatever is kept comes back, and is written without an exponent or needless noughts."""
    outside = FIELD.from_db_value(thousandths, None, None)
    assert FIELD.get_prep_value(outside) == thousandths
    text = str(outside)
    assert "E" not in text
    assert not ("." in text and text.endswith("0"))


@pytest.mark.parametrize(
    ("number", "text"), [("1E+3", "1000"), ("2.50", "2.5"), ("0.000", "0"), ("100", "100")]
)
def test_tidy(number, text):
    """As people write it."""
    assert str(tidy(D(number))) == text
