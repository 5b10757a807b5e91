"""Moving average and first in first out, against a worked example.

Source of its shape: OpenStax, Principles of Accounting vol. 1, section 10.3 (perpetual method); the numbers are from
memory, the arithmetic re-run: open 150 at 21, sell 120, buy 225 at 27, sell 180, buy 210 at 33, left 285.
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.average import In, Out, first_in_first_out, moving_average

D = Decimal
EXAMPLE = [
    In(D(150), 150 * 2100),
    Out(D(120), 1),
    In(D(225), 225 * 2700),
    Out(D(180), 2),
    In(D(210), 210 * 3300),
]
AVAILABLE = 1_615_500


def test_first_in_first_out_is_exact():
    drawn = first_in_first_out(EXAMPLE)
    assert sum(drawn.costs.values()) == 720_000
    assert (drawn.left, drawn.left_cost) == (D(285), 895_500)


def test_the_moving_average_keeps_to_the_minor_unit_and_leaks_nothing():
    drawn = moving_average(EXAMPLE)
    assert sum(drawn.costs.values()) == 725_294  # 7,252.941176 to the minor unit
    assert drawn.left_cost == 890_206  # 8,902.058824
    assert sum(drawn.costs.values()) + drawn.left_cost == AVAILABLE


def test_stock_without_a_value_stays_unknown():
    drawn = moving_average([In(D(2), None), In(D(2), 1000), Out(D(2), 1)])
    assert (drawn.costs[1], drawn.unknown[1]) == (500, D(1))
    assert (drawn.left_cost, drawn.left_unknown) == (500, D(1))
    assert moving_average([In(D(3), None), Out(D(1), 1)]).costs == {1: 0}


@pytest.mark.parametrize("method", [moving_average, first_in_first_out])
def test_more_than_was_there_is_refused(method):
    with pytest.raises(ValueError, match="went"):
        method([In(D(1), 100), Out(D("1.001"), 1)])


steps = st.lists(st.tuples(st.booleans(), st.integers(1, 5000), st.integers(0, 10**7)), max_size=30)


@given(steps)
@pytest.mark.parametrize("method", [moving_average, first_in_first_out])
def test_cost_in_is_cost_out_and_cost_left(method, steps):
    events: list[In | Out] = []
    there, put = 0, 0
    for number, (comes, thousandths, cost) in enumerate(steps):
        if comes or thousandths > there:
            events.append(In(D(thousandths) / 1000, cost))
            there, put = there + thousandths, put + cost
        else:
            events.append(Out(D(thousandths) / 1000, number))
            there -= thousandths
    drawn = method(events)
    assert sum(drawn.costs.values()) + drawn.left_cost == put
    assert drawn.left == D(there) / 1000
    assert all(cost >= 0 for cost in drawn.costs.values())
