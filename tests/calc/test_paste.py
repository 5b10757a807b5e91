"""Rows pasted from spreadsheets and order mails: columns told apart by what stands in them."""

from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refit.calc.paste import PasteProblem, Row, figure, parse_rows


def rows(*lines: str) -> tuple[Row, ...]:
    return parse_rows("\n".join(lines)).rows


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("2", D(2)),
        ("412,00", D("412.00")),
        ("£1,240.50", D("1240.50")),
        ("1.234,50 €", D("1234.50")),
        ("SEK 412", D(412)),
        ("412 kr", D(412)),
        ("12:-", D(12)),
        ("2 st", D(2)),
        ("3 pcs", D(3)),
        ("1,234", D(1234)),
        ("0.125", D("0.125")),
        ("", None),
        ("impeller", None),
        ("AB 120", None),
        ("09-1027", None),
        ("M8 × 40", None),
    ],
)
def test_a_figure_is_read_with_its_sign_or_unit_off(cell, value):
    assert figure(cell) == value


def test_quantity_words_price_and_total_are_told_apart_by_their_product():
    assert rows("2\t09-1027\tImpeller, 8-vane\t412.00\t824.00", "1\t09-2040\tGasket\t96.50\t96.50") == (
        Row("Impeller, 8-vane", "09-1027", D(2), D("412.00")),
        Row("Gasket", "09-2040", D(1), D("96.50")),
    )


def test_the_order_of_the_columns_does_not_matter():
    assert rows("Impeller, 8-vane\t824.00\t412.00\t09-1027\t2", "Gasket kit\t193.00\t96.50\t09-2040\t2") == (
        Row("Impeller, 8-vane", "09-1027", D(2), D("412.00")),
        Row("Gasket kit", "09-2040", D(2), D("96.50")),
    )


def test_headings_are_followed_and_are_no_row():
    pasted = parse_rows("Antal\tArt.nr\tBenämning\tSumma\n2\t4711\tImpeller\t824,00\n3\t4712\tO-ring\t30,00")
    assert pasted.rows == (
        Row("Impeller", "4711", D(2), D("824.00"), in_all=True),
        Row("O-ring", "4712", D(3), D("30.00"), in_all=True),
    )
    assert pasted.left_out == ()


@pytest.mark.parametrize(
    "heading", ["Qty\tDescription\tPrice (GBP)", "qty\tname\tPrice £", "Menge\tArtikel\tPreis"]
)
def test_a_heading_may_bear_its_currency(heading):
    assert rows(heading, "4\tShackle\t£9.80") == (Row("Shackle", "", D(4), D("9.80")),)


def test_totals_tax_and_freight_at_the_foot_are_left_out_and_named():
    pasted = parse_rows("2\tImpeller\t412.00\n\tSubtotal\t824.00\n\tShipping\t95.00\n\tVAT 25%\t229.75")
    assert [row.words for row in pasted.rows] == ["Impeller"]
    assert pasted.left_out == ("Subtotal 824.00", "Shipping 95.00", "VAT 25% 229.75")


def test_article_numbers_of_digits_alone_are_no_quantity():
    assert rows("0047110\tImpeller\t2\t412.00", "0047120\tGasket\t1\t96.50") == (
        Row("Impeller", "0047110", D(2), D("412.00")),
        Row("Gasket", "0047120", D(1), D("96.50")),
    )


def test_a_quantity_before_the_words_is_read():
    assert rows("2 x Impeller\t412.00", "10 × Hose clip\t1.20") == (
        Row("Impeller", "", D(2), D("412.00")),
        Row("Hose clip", "", D(10), D("1.20")),
    )


def test_without_prices_the_rows_stay_rows():
    assert rows("Impeller\t2", "Gasket\t1") == (Row("Impeller", "", D(2)), Row("Gasket", "", D(1)))


def test_without_words_the_number_stands_for_them():
    assert rows("09-1027\t2\t412.00") == (Row("09-1027", "", D(2), D("412.00")),)


def test_columns_lined_up_with_blanks_or_semicolons_are_read_too():
    assert rows("2   Impeller   412.00") == (Row("Impeller", "", D(2), D("412.00")),)
    assert rows("2;Impeller;412,00") == (Row("Impeller", "", D(2), D("412.00")),)


def test_quotes_of_a_spreadsheet_come_off_and_inches_stay():
    assert rows('1\t"Hose ""wet"" exhaust"\t30.00') == (Row('Hose "wet" exhaust', "", D(1), D("30.00")),)
    assert rows('1\tHose 1/2"\t30.00')[0].words == 'Hose 1/2"'


def test_what_a_spreadsheet_would_run_is_only_words():
    assert rows("1\t=1+1\t5.00")[0].words == "=1+1"


@pytest.mark.parametrize("text", ["", "  \n\t\n"])
def test_nothing_is_refused(text):
    with pytest.raises(PasteProblem) as problem:
        parse_rows(text)
    assert problem.value.code == "empty"


def test_two_hundred_rows_are_taken_and_one_more_is_refused():
    assert len(rows(*["1\tClip\t1.00"] * 200)) == 200
    with pytest.raises(PasteProblem) as problem:
        parse_rows("\n".join(["1\tClip\t1.00"] * 201))
    assert problem.value.code == "too_many"


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 99), st.integers(1, 10**6)),
        min_size=2,
        max_size=8,
    ),
    st.permutations([0, 1, 2, 3]),
)
def test_any_order_of_columns_gives_back_what_each_row_costs(things, order):
    lines = []
    for place, (quantity, pence) in enumerate(things):
        cells = [
            str(quantity),
            f"Thing of sort {'abcdefgh'[place]}",
            f"{D(pence) / 100:.2f}",
            f"{quantity * D(pence) / 100:.2f}",
        ]
        lines.append("\t".join(cells[column] for column in order))
    for row, (quantity, pence) in zip(rows(*lines), things, strict=True):
        assert row.price is not None
        assert (row.price if row.in_all else row.quantity * row.price) == quantity * D(pence) / 100


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet=st.characters(blacklist_categories=["Cs"]), max_size=200))
def test_whatever_is_pasted_is_read_or_refused_in_a_sentence(text):
    try:
        pasted = parse_rows(text)
    except PasteProblem as problem:
        sentence = str(problem)
        rows_read: tuple[Row, ...] = ()
    else:
        sentence, rows_read = "Read.", pasted.rows
    assert sentence.endswith(".")
    assert all(row.words and row.quantity > 0 for row in rows_read)
