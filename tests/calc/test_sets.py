from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.sets import Content, Cut, SetProblem, Split, cut, open_kit, up_to_sets

D = Decimal


@pytest.mark.parametrize(
    ("quantity", "of", "rounded"),
    [
        ("0", 4, "0"),
        ("1", 4, "4"),
        ("4", 4, "4"),
        ("4.001", 4, "8"),
        ("5", 4, "8"),
        ("5", 1, "5"),
        ("0.3", D("0.1"), "0.3"),
        ("0.31", D("0.1"), "0.4"),
        ("7", D("2.5"), "7.5"),
        ("999999.999", 1000, "1000000"),
    ],
)
def test_sets_round_up(quantity, of, rounded):
    assert up_to_sets(D(quantity), of) == D(rounded)


@pytest.mark.parametrize(
    ("quantity", "of", "code"), [("1", 0, "not_positive"), ("1", -2, "not_positive"), ("-1", 2, "negative")]
)
def test_sets_of_nothing_are_refused(quantity, of, code):
    with pytest.raises(SetProblem) as refused:
        up_to_sets(D(quantity), of)
    assert refused.value.code == code


@given(st.decimals(0, 10**6, places=3), st.decimals("0.001", 1000, places=3))
def test_rounded_up_is_whole_sets_and_no_set_too_many(quantity, of):
    rounded = up_to_sets(quantity, of)
    assert (Fraction(rounded) / Fraction(of)).denominator == 1
    assert quantity <= rounded < quantity + of


@pytest.mark.parametrize(
    ("length", "wanted", "keep_above", "left"),
    [
        ("18", "8", "1", Cut(D(8), D(10), D(0))),
        ("18", "18", "1", Cut(D(18), D(0), D(0))),
        ("18", "17.5", "1", Cut(D("17.5"), D(0), D("0.5"))),
        ("18", "17", "1", Cut(D(17), D(1), D(0))),  # exactly the limit is still a piece
        ("18", "17.001", "1", Cut(D("17.001"), D(0), D("0.999"))),
        ("18", "17.999", "0", Cut(D("17.999"), D("0.001"), D(0))),
    ],
)
def test_a_cut_leaves_a_piece_or_bits(length, wanted, keep_above, left):
    assert cut(D(length), D(wanted), D(keep_above)) == left


@pytest.mark.parametrize(
    ("length", "wanted", "code", "words"),
    [
        ("18", "18.001", "longer_than_it_is", "only 18 long; 18.001 cannot be cut"),
        ("0", "1", "longer_than_it_is", "only 0 long"),
        ("18", "0", "not_positive", "how much to cut"),
        ("18", "-1", "not_positive", "how much to cut"),
    ],
)
def test_what_cannot_be_cut_is_refused(length, wanted, code, words):
    with pytest.raises(SetProblem, match=words) as refused:
        cut(D(length), D(wanted))
    assert refused.value.code == code


@given(st.data(), st.decimals("0.001", 1000, places=3), st.decimals(0, 20, places=3))
def test_a_cut_loses_and_makes_no_length(data, length, keep_above):
    wanted = data.draw(st.decimals("0.001", length, places=3))
    left = cut(length, wanted, keep_above)
    assert left.piece == wanted
    assert left.piece + left.rest + left.bits == length
    assert left.rest == 0 or left.rest >= keep_above
    assert left.bits < keep_above or left.bits == 0


def kit(*each):
    return [Content(str(place), D(quantity), worth) for place, (quantity, worth) in enumerate(each)]


@pytest.mark.parametrize(
    ("cost", "contents", "by", "shares"),
    [
        (10000, kit((1, None), (1, None), (1, None)), Split.EQUAL, [3334, 3333, 3333]),
        (10000, kit((10, 50), (1, 500)), Split.VALUE, [5000, 5000]),
        (9999, kit((1, 3), (2, 3)), Split.VALUE, [3333, 6666]),
        (5, kit((1, 70), (1, 30)), Split.VALUE, [4, 1]),
        (500, kit((1, 0), (1, 20)), Split.VALUE, [0, 500]),
        (500, kit((1, 0), (1, 0)), Split.VALUE, [250, 250]),  # nothing to go by
        (0, kit((1, 5), (1, 5)), Split.VALUE, [0, 0]),
        (None, kit((1, None), (1, 5)), Split.VALUE, [None, None]),
    ],
)
def test_a_kit_passes_its_cost_on(cost, contents, by, shares):
    assert list(open_kit(cost, contents, by).values()) == shares


@pytest.mark.parametrize(
    ("contents", "code", "words"),
    [
        ([], "empty", "list what is in it"),
        ([Content(1, D(1)), Content(1, D(2))], "twice", "one line"),
        (kit((0, 5)), "not_positive", "how many"),
        (kit((1, 5), (1, None)), "no_value", "1 thing has no value"),
        (kit((1, None), (1, None)), "no_value", "2 things have no value"),
        (kit((1, -5)), "negative", "less than nought"),
    ],
)
def test_a_kit_that_cannot_be_opened_says_why(contents, code, words):
    with pytest.raises(SetProblem, match=words) as refused:
        open_kit(100, contents, Split.VALUE)
    assert refused.value.code == code


@given(
    st.integers(0, 10**9),
    st.lists(st.tuples(st.integers(1, 50), st.integers(0, 10**6)), min_size=1, max_size=12),
    st.sampled_from(Split),
)
def test_a_kit_costs_what_its_contents_cost(cost, each, by):
    assert sum(open_kit(cost, kit(*each), by).values()) == cost
