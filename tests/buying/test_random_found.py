"""What random seasons found: deeds that once let money fall out of the sums, or come back twice; each refused or kept."""

from datetime import timedelta

import pytest

from refit.boat.refusals import Refused
from refit.buying import spend
from refit.buying.actions import charges, corrections, deliveries, deposits, orders, payments, refunds
from refit.buying.actions.charges import Bill
from refit.buying.actions.corrections import Head, LineChange
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.payments import Split
from refit.buying.actions.refunds import Refund
from refit.buying.models import Charge, Order
from tests.factory import D

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "today": make.today}


def whole(make) -> spend.Money:
    """Return what the boat has spent in all."""
    money = spend.Money()
    for fact in spend.facts(make.boat, spend.Filters()):
        money.add(spend.Money(fact.ordered, fact.delivered, fact.paid))
    return money


def refusal(deed) -> str:
    with pytest.raises(Refused) as refused:
        deed()
    return refused.value.code


def test_a_refund_on_a_line_that_is_given_up_stays_in_the_sums(make, who):
    """The line is bought no more, but the money came back on it: under its system, in its month."""
    order = make.order(make.line(words="Hose"), make.line(words="Pump"))
    hose, pump = order.lines.all()
    kind = Refund("goodwill", D(3), "GBP", applied_on=make.today, reason="Sorry")
    credit = refunds.add_refund(order, [hose], kind, **who)
    deliveries.book_in(make.boat, [Arrival(hose, wont_come=True), Arrival(pump, D(1))], on=make.today, **who)
    refunds.refund_came(credit, came_on=make.today, came=None, today=make.today)
    assert (whole(make).ordered, whole(make).paid) == (1000 - 300, -300)


def test_what_was_applied_for_is_not_hoped_for_again_above_the_cost(make, who):
    order = make.order()
    lines = list(order.lines.all())
    hoped = refunds.add_refund(order, lines, Refund("price", D(9), "GBP", applied_on=make.today), **who)
    refunds.refund_came(hoped, came_on=make.today, came=D(4), today=make.today)
    refunds.add_refund(order, lines, Refund("price", D(6), "GBP", came_on=make.today), **who)
    assert refusal(lambda: refunds.refund_did_not_come(hoped)) == "more_than_cost"


def test_a_bill_of_an_order_that_was_not_placed_is_not_paid(make, who):
    """Nor one of an order that was taken back meanwhile: Paid would not stand under any system."""
    order = make.order(charges=(ChargeFacts("duty", D(5)),))
    charge = order.charges.get()
    orders.back_to_draft(order)
    pay = lambda: payments.pay(make.boat, [Split(500, charge=charge)], on=make.today, **who)  # noqa: E731
    assert refusal(pay) == "not_placed"


def test_nothing_is_left_that_a_paid_bill_is_for(make, who):
    """All that the bill is for won't come: its payment is taken back first, else it is lost from the sums."""
    order = make.order(charges=(ChargeFacts("duty", D(5)),))
    payments.pay(make.boat, [Split(500, charge=order.charges.get())], on=make.today, **who)
    gone = lambda: deliveries.book_in(  # noqa: E731
        make.boat, [Arrival(order.lines.get(), wont_come=True)], on=make.today, **who
    )
    assert refusal(gone) == "bill_paid"
    assert whole(make) == spend.Money(1500, 0, 500)


def test_a_tax_that_is_in_the_prices_stays_a_tax(make, who):
    order = make.order(charges=(ChargeFacts("tax", D(2), in_prices=True),))
    charge = order.charges.get()
    bill = Bill("freight", D(2), "GBP")
    assert refusal(lambda: charges.change_charge(charge, bill, **who)) == "tax_marks"


def test_a_deposit_that_is_found_leaves_the_parcel_its_bill_whole(make, who):
    """The line of the lost deposit bore a part of a bill over two orders: what it bore goes to the others."""
    lost, other = make.order(make.line(words="Mast", price=D(500))), make.order()
    payments.pay(make.boat, [Split(20000, order=lost)], on=make.today, **who)
    delivery = deposits.lose_deposit(lost, on=make.today, **who)
    line = lost.lines.get(words__startswith="Deposit lost")
    parcel = charges.add_charge(make.boat, [line, other.lines.get()], Bill("freight", D(21), "GBP"), **who)
    assert sorted(parcel.shares.values_list("home", flat=True)) == [100, 2000]
    deposits.find_deposit(delivery, **who)
    assert list(Charge.objects.get().shares.values_list("line", "home")) == [(other.lines.get().pk, 2100)]
    other.refresh_from_db()
    assert other.landed == 3100


def test_a_deposit_with_a_bill_of_its_own_is_not_found(make, who):
    """A bill would be left without a line."""
    lost = make.order(make.line(words="Mast", price=D(500)))
    payments.pay(make.boat, [Split(20000, order=lost)], on=make.today, **who)
    delivery = deposits.lose_deposit(lost, on=make.today, **who)
    line = lost.lines.get(words__startswith="Deposit lost")
    charges.add_charge(make.boat, [line], Bill("handling", D(5), "GBP"), **who)
    assert refusal(lambda: deposits.find_deposit(delivery, **who)) == "only_line"


def test_money_off_below_what_came_back_is_refused(make, who):
    order = make.order()
    lines = list(order.lines.all())
    refunds.add_refund(order, lines, Refund("price", D(9), "GBP", came_on=make.today), **who)
    off = Bill("discount", D(2), "GBP")
    assert refusal(lambda: charges.add_charge(make.boat, lines, off, **who)) == "below_refunded"


def test_a_correction_that_makes_another_order_cheaper_than_its_refund_is_refused(make, who):
    """They share a parcel: what one line bears less, the other bears more, and the other way about."""
    one, two = make.order(on=make.today - timedelta(3)), make.order()
    lines = [one.lines.get(), two.lines.get()]
    charges.add_charge(make.boat, lines, Bill("freight", D(10), "GBP"), **who)
    refunds.add_refund(two, lines[1:], Refund("price", D(15), "GBP", came_on=make.today), **who)
    dearer = [LineChange(make.line(price=D(90)), line=lines[0])]
    correct = lambda: corrections.correct_order(  # noqa: E731
        one, Head(one.supplier, one.ordered_on), dearer, **who
    )
    assert refusal(correct) == "below_refunded"


def test_a_charge_of_what_is_given_up_is_not_waited_for(make, who):
    """It stays in the sums, for it was paid; but an order that has come says of nothing that it is to come."""
    order = make.order(
        make.line(words="Hose"), make.line(words="Pump"), charges=(ChargeFacts("freight", D(5), lines=(0,)),)
    )
    hose, pump = order.lines.all()
    some = deliveries.book_in(make.boat, [Arrival(pump, D(1))], on=make.today, **who)
    gone = deliveries.book_in(make.boat, [Arrival(hose, wont_come=True)], on=make.today, **who)
    assert sums(order) == ("arrived", 1500, 1500)
    assert whole(make) == spend.Money(1500, 1500, 0)
    back = Refund("goodwill", D(3), "GBP", came_on=make.today, reason="Sorry")
    refunds.add_refund(order, [hose], back, **who)
    assert whole(make) == spend.Money(1200, 1200, -300)
    deliveries.undo_delivery(some, **who)
    assert sums(order) == ("ordered", 1500, 500)
    deliveries.undo_delivery(gone, **who)
    assert sums(order) == ("ordered", 2500, 0)


def sums(order: Order) -> tuple[str, int, int]:
    """Return an order's state, what it comes to, and how much of that has come."""
    return Order.objects.values_list("state", "landed", "delivered").get(pk=order.pk)
