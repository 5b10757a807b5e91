from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.landed import (
    Basis,
    ChargeCost,
    Landed,
    LineCost,
    MissingWeight,
    delivered_value,
    goods_in_home,
    landed,
    landed_effect,
    share,
)

ROPE = LineCost("rope", 19999, Decimal("12.5"), Decimal(100))
BLOCK = LineCost("block", 4550, Decimal("0.4"), Decimal(2))
PIN = LineCost("pin", 125, None, Decimal(10))
LINES = [ROPE, BLOCK, PIN]
ALL = ("rope", "block", "pin")


def charge(amount, basis=Basis.VALUE, covers=ALL, **marks):
    return ChargeCost("charge", amount, basis, covers, **marks)


# IAS 2 Inventories, paragraph 11: price, import duty, taxes other than those recoverable, transport and
# handling are cost; trade discounts and rebates are deducted.
@pytest.mark.parametrize(
    ("given_charge", "effect"),
    [
        (charge(2000), 2000),
        (charge(2000, reclaimable=True), 0),
        (charge(-1234), -1234),
        (charge(2000, in_prices=True), 0),
        (charge(2000, in_prices=True, reclaimable=True), -2000),
        (charge(0), 0),
    ],
)
def test_what_counts_as_cost(given_charge, effect):
    assert landed_effect(given_charge) == effect
    together = landed(LINES, [given_charge])
    assert sum(line.landed for line in together.values()) == 24674 + effect


@pytest.mark.parametrize(
    ("given_charge", "shares"),
    [
        (charge(1875), [1520, 346, 9]),
        (charge(-1234), [-1000, -228, -6]),
        (charge(1120, Basis.COUNT), [1000, 20, 100]),
        (charge(129, Basis.WEIGHT, ("rope", "block")), [125, 4]),
        (charge(500, covers=("block",)), [500]),
        (charge(100, covers=("block", "rope")), [81, 19]),  # in the order of the lines, not of the ticks
        (charge(0, covers=()), []),
        (charge(10, covers=("pin", "pin")), [10]),
    ],
)
def test_charges_are_shared_over_the_lines_they_cover(given_charge, shares):
    assert list(share(given_charge, LINES).values()) == shares
    assert set(share(given_charge, LINES)) == set(given_charge.covers)


def test_a_missing_weight_is_asked_for_by_line():
    with pytest.raises(MissingWeight) as refused:
        share(charge(100, Basis.WEIGHT), LINES)
    assert refused.value.keys == ("pin",)
    assert "1 line has no weight" in str(refused.value)


def test_lines_that_cost_nothing_share_equally():
    free = [LineCost(key, 0, None, Decimal(1)) for key in "abc"]
    assert share(charge(10, covers=("a", "b", "c")), free) == {"a": 4, "b": 3, "c": 3}


@pytest.mark.parametrize("covers", [(), ("mast",)])
def test_a_charge_needs_lines_to_lie_on(covers):
    with pytest.raises(ValueError, match=r"nothing to share|not there"):
        share(charge(10, covers=covers), LINES)


def test_a_line_there_twice_is_refused():
    with pytest.raises(ValueError, match="twice"):
        landed([ROPE, ROPE], [])


def test_landed_names_goods_and_charges():
    assert landed([ROPE], [charge(100, covers=("rope",))]) == {"rope": Landed("rope", 19999, 100)}
    assert Landed("rope", 19999, 100).landed == 20099


@given(
    st.lists(st.tuples(st.integers(0, 10**9), st.decimals(0, 1000, places=3)), min_size=1, max_size=10),
    st.lists(
        st.tuples(st.integers(-(10**8), 10**8), st.sampled_from(Basis), st.booleans(), st.booleans()),
        max_size=6,
    ),
)
def test_nothing_is_lost_or_invented(lines, charges):
    costs = [LineCost(key, goods, weight, weight + 1) for key, (goods, weight) in enumerate(lines)]
    borne = [
        ChargeCost(key, amount, basis, tuple(range(len(lines))), reclaimable, in_prices)
        for key, (amount, basis, reclaimable, in_prices) in enumerate(charges)
    ]
    together = landed(costs, borne)
    goods = sum(line.goods for line in costs)
    assert sum(line.landed for line in together.values()) == goods + sum(map(landed_effect, borne))


def test_goods_are_converted_once_as_a_sum():
    # Three lines of 0.05 kronor at 10 to the pound: each alone rounds to a penny, together they are two.
    assert goods_in_home([5, 5, 5], "SEK", "GBP", Decimal(10)) == [1, 1, 0]
    assert goods_in_home([0, 0], "SEK", "GBP", Decimal(10)) == [0, 0]
    assert goods_in_home([], "SEK", "GBP", Decimal(10)) == []
    with pytest.raises(ValueError, match="discount"):
        goods_in_home([5, -5], "SEK", "GBP", Decimal(10))


@given(st.lists(st.integers(0, 10**9), min_size=1, max_size=12))
def test_goods_at_one_to_one_are_untouched(amounts):
    assert goods_in_home(amounts, "GBP", "GBP", Decimal(1)) == amounts


@pytest.mark.parametrize(
    ("cost", "arrived", "ordered", "value"),
    [
        (1000, "0", "3", 0),
        (1000, "1", "3", 333),
        (1000, "2", "3", 667),
        (1000, "3", "3", 1000),
        (1000, "4", "3", 1000),
        (1000, "0", "0", 1000),  # given up: what is still borne is not waited for
        (-1000, "1", "3", -333),
        (1, "0.5", "1", 1),
    ],
)
def test_what_has_arrived_has_its_part_of_the_cost(cost, arrived, ordered, value):
    assert delivered_value(cost, Decimal(arrived), Decimal(ordered)) == value


def test_a_negative_arrival_is_refused():
    with pytest.raises(ValueError, match="negative"):
        delivered_value(100, Decimal(-1), Decimal(2))


@given(st.integers(0, 10**9), st.lists(st.decimals("0.001", 1000, places=3), min_size=1, max_size=8))
def test_part_deliveries_add_up_to_the_whole(cost, parts):
    ordered, so_far, values = sum(parts), Decimal(0), []
    for part in parts:
        before = delivered_value(cost, so_far, ordered)
        so_far += part
        values.append(delivered_value(cost, so_far, ordered) - before)
    assert sum(values) == cost
    assert all(value >= 0 for value in values)


def test_a_moving_average_leaves_no_residue():
    # Weighted average cost, IAS 2 paragraph 25; the data of OpenStax, Principles of Accounting, volume 1,
    # section 10.3 (its figures from memory, the arithmetic run again): 150 at 21, 120 sold, 225 at 27, 180
    # sold, 210 at 33. Out 7,252.941176, left 8,902.058824, of 16,155 in all.
    left, count, out = 0, Decimal(0), 0
    for bought, price, sold in [(150, 2100, 120), (225, 2700, 180), (210, 3300, 0)]:
        left, count = left + bought * price, count + bought
        cost = delivered_value(left, Decimal(sold), count)
        left, count, out = left - cost, count - sold, out + cost
    assert (out, left, count) == (725294, 890206, 285)
    assert out + left == 1615500
