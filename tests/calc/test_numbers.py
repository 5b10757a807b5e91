from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.numbers import NumberProblem, format_quantity, parse_number

ACCEPTED = {
    "1.5": ["1,5", "1.5", " 1.5 ", "+1,5"],
    "1234.5": [" 1 234,50", "1,234.50", "1.234,50", "1\u00a0234,5", "1\u202f234.5", "1234.5"],
    "1.234": ["1.234", "01,234"],
    "0.234": ["0,234", ".234", ",234"],
    "1234.567": ["1234,567", "1 234,567", "1,234.567"],
    "1234567": ["1,234,567", "1.234.567", "1 234 567", "1234567", "1.234.567,0"],
    "-7": ["-7", "\u22127", "- 7", "-7.", "-007,0"],
    "-12.50": ["-12.50"],
    "0": ["0", "-0", "0.000"],
    "123456789012.345": ["123456789012.345"],
}


@pytest.mark.parametrize(
    ("number", "text"), [(number, text) for number, texts in ACCEPTED.items() for text in texts]
)
def test_numbers_as_people_type_them(number, text):
    assert parse_number(text) == Decimal(number)


REFUSED = {
    "empty": ["", "   ", "\n"],
    "not_a_number": [
        "1e3",
        "1E3",
        "1_000",
        "\uff11\uff12",
        "1\0",
        "\ud800",
        "inf",
        "nan",
        "-",
        ".",
        ",",
        "1,2,3",
        "12,34,567",
        "1.2.3",
        "1 23",
        "1  234",
        "٣",
        "0x1F",
        "--1",
        "1-",
        "=1+1",
        "1'234",
        "½",
        "²",
        "£5",
        "1\n234",
        "1,234.567.8",
        "x" * 100_000,
    ],
    "too_many_places": ["1.2345", "0,0000", "1,234.5678"],
    "too_large": ["1234567890123456", "1234567890123.456", "9" * 100_000],
    "ambiguous": ["1,234", "-999,000"],
}


@pytest.mark.parametrize(
    ("code", "text"), [(code, text) for code, texts in REFUSED.items() for text in texts]
)
def test_what_is_no_plain_number_is_refused(code, text):
    with pytest.raises(NumberProblem) as refused:
        parse_number(text)
    assert refused.value.code == code
    # The sentence can be shown whatever was typed: short, and fit to be sent.
    assert len(str(refused.value).encode()) < 300


def test_the_refusal_names_the_value_and_what_to_do():
    with pytest.raises(NumberProblem, match=r"“1,234” can be read in two ways; type 1234 or 1\.234\."):
        parse_number("1,234")
    with pytest.raises(NumberProblem, match="“-3” is too small; it must be 0 or more"):
        parse_number("-3", low=Decimal(0))
    with pytest.raises(NumberProblem, match="“1001” is too large; it must be 1000 or less"):
        parse_number("1001", high=Decimal("1E3"))


@pytest.mark.parametrize(
    ("text", "places", "number"),
    [
        ("1,234", 2, "1234"),
        ("-1,234", 0, "-1234"),
        ("1,23", 2, "1.23"),
        ("1,234.5", 2, "1234.5"),
        ("12", 0, "12"),
    ],
)
def test_with_few_places_a_comma_before_three_digits_marks_thousands(text, places, number):
    assert parse_number(text, places=places) == Decimal(number)


@pytest.mark.parametrize(
    ("text", "places"),
    [("1.234", 2), ("0,234", 2), ("1234,567", 2), ("1,5", 0), ("12.345", 2), ("1 234,567", 2)],
)
def test_decimals_beyond_the_places_are_refused(text, places):
    with pytest.raises(NumberProblem) as refused:
        parse_number(text, places=places)
    assert refused.value.code == "too_many_places"


@pytest.mark.parametrize("text", ["0", "10"])
def test_limits_belong_to_the_range(text):
    assert parse_number(text, low=Decimal(0), high=Decimal(10)) == Decimal(text)


@pytest.mark.parametrize(("text", "code"), [("-0.001", "too_small"), ("10.001", "too_large")])
def test_just_over_a_limit_is_refused(text, code):
    with pytest.raises(NumberProblem) as refused:
        parse_number(text, low=Decimal(0), high=Decimal(10))
    assert refused.value.code == code


@given(st.decimals(-(10**11), 10**11, places=2))
def test_every_usual_way_of_writing_a_number_means_the_same(number):
    british, plain = f"{number:,.2f}", f"{number:.2f}"
    continental = british.translate(str.maketrans(",.", ".,"))
    blanks = british.replace(",", "\u00a0")
    for text in (british, plain, continental, blanks, plain.replace(".", ","), blanks.replace(".", ",")):
        assert parse_number(text) == number, text


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_refused(text):
    try:
        number = parse_number(text)
    except NumberProblem:
        return
    assert number.is_finite()
    assert parse_number(format_quantity(number).replace(".", ",") + ("" if number % 1 else ",0")) == number


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        ("4.300", "4.3"),
        ("1E+2", "100"),
        ("100", "100"),
        ("0", "0"),
        ("-0.000", "0"),
        ("-1.50", "-1.5"),
        ("0E+3", "0"),
        ("0.001", "0.001"),
        ("1200.000", "1200"),
    ],
)
def test_quantities_as_people_read_them(quantity, text):
    assert format_quantity(Decimal(quantity)) == text


def test_what_is_not_finite_is_no_quantity():
    with pytest.raises(ValueError, match="not a quantity"):
        format_quantity(Decimal("NaN"))


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9))
def test_quantities_keep_their_value(quantity):
    assert Decimal(format_quantity(quantity)) == quantity
