"""What each order and bill still owes, what was paid too much, who is owed, and what suppliers keep for us."""

from datetime import timedelta

import pytest

from refit.buying import owing
from refit.buying.actions import charges, deliveries, orders, payments, refunds
from refit.buying.actions.charges import Bill
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.payments import Split
from refit.buying.actions.refunds import Refund
from refit.buying.models import Charge, Payment
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


def paid(make: Factory, *splits: Split, **facts):
    facts.setdefault("on", make.today)
    return payments.pay(make.boat, splits, today=make.today, by=make.owner, **facts)


def owes(order) -> tuple[int, int]:
    """Return what an order still owes, and what was paid too much on it."""
    order.refresh_from_db()
    row = owing.of_orders([order]).get(order.pk)
    return (row.left, row.over) if row else (0, 0)


@pytest.mark.parametrize(
    ("amount", "expected"),
    [(None, (10000, 0)), (1, (9999, 0)), (9999, (1, 0)), (10000, (0, 0)), (10001, (0, 1))],
)
def test_an_order_owes_what_is_billed_less_what_was_paid(make, amount, expected):
    order = make.order(make.line(price=D("100")))
    if amount:
        paid(make, Split(amount, order=order))
    assert owes(order) == expected


def test_a_draft_owes_nothing_and_what_was_paid_on_a_cancelled_order_is_too_much(make):
    assert owes(make.draft()) == (0, 0)
    order = make.order(make.line(price=D("100")))
    paid(make, Split(2500, order=order))
    orders.cancel_order(order)
    assert owes(order) == (0, 2500)
    assert [row.order for row in owing.everything(make.boat)] == [order]


def test_what_wont_come_is_not_owed(make):
    order = make.order(make.line(price=D("10"), packs=D(4)))
    arrivals = [Arrival(order.lines.get(), D(3), wont_come=True)]
    deliveries.book_in(make.boat, arrivals, by=make.owner, on=make.today, today=make.today)
    assert owes(order) == (3000, 0)


def test_the_sellers_own_charges_are_owed_with_the_goods_but_other_bills_by_themselves(make):
    carrier = make.supplier("Carrier")
    order = make.order(
        make.line(price=D("100")),
        charges=(
            ChargeFacts("freight", D(5)),
            ChargeFacts("discount", D(2)),
            ChargeFacts("tax", D(20), reclaimable=True),  # no cost, but the seller wants it
            ChargeFacts("handling", D(7), payee=carrier),
            ChargeFacts("duty", D(9), expected=True),
        ),
    )
    assert owes(order) == (12300, 0)
    (bill,) = owing.of_bills(owing.bills(make.boat))
    assert (bill.payee, bill.left) == (carrier, 700)
    paid(make, Split(700, charge=bill.charge), payee=carrier)
    (bill,) = owing.of_bills(owing.bills(make.boat))
    assert (bill.left, bill.over) == (0, 0)
    assert owes(order) == (12300, 0)


def test_an_expected_bill_is_owed_when_it_comes(make):
    courier = make.supplier("Courier")
    order = make.order(make.line(), charges=(ChargeFacts("duty", D(9), expected=True, payee=courier),))
    assert owing.to_pay(make.boat, courier) == []
    bill = Bill("duty", D("11.40"), "GBP", payee=courier, billed_on=make.today)
    charges.bill_came(Charge.objects.get(order=order), bill, by=make.owner, today=make.today)
    (row,) = owing.to_pay(make.boat, courier)
    assert (row.left, row.charge.order, row.on) == (1140, order, make.today)


def test_a_bill_over_several_orders_is_owed_once(make):
    one, other = make.order(make.line()), make.order(make.line())
    lines = [one.lines.get(), other.lines.get()]
    courier = make.supplier("Courier")
    bill = Bill("freight", D(30), "GBP", payee=courier)
    charges.add_charge(make.boat, lines, bill, by=make.owner, today=make.today)
    assert [(row.left, row.order) for row in owing.to_pay(make.boat, courier)] == [(3000, None)]


def test_a_refund_is_money_that_came_and_not_money_unpaid(make):
    order = make.order(make.line(price=D("100")))
    paid(make, Split(10000, order=order))
    refund = Refund("goods", D(40), "GBP", came_on=make.today)
    refunds.add_refund(order, [order.lines.get()], refund, by=make.owner, today=make.today)
    assert owes(order) == (0, 0)


def test_a_foreign_order_owes_at_its_rate_until_payments_settle_it(make):
    order = make.order(make.line(price=D("300")), currency="EUR", rate=D("1.2"))
    assert owes(order) == (25000, 0)
    row = owing.of_orders([order])[order.pk]
    assert (row.own_billed, row.own_left) == (30000, 30000)
    paid(make, Split(8400, order=order, settles=10000))
    order.refresh_from_db()
    row = owing.of_orders([order])[order.pk]
    # The rest stands at the rate of the order: 200 / 1.2 = 166.67.
    assert (row.billed, row.paid, row.left, row.own_left) == (8400 + 16667, 8400, 16667, 20000)
    paid(make, Split(17123, order=order, settles=20000))
    order.refresh_from_db()
    row = owing.of_orders([order])[order.pk]
    assert (row.left, row.over, row.own_left) == (0, 0, 0)
    assert order.landed == 8400 + 17123


def test_a_foreign_order_of_which_something_wont_come_was_paid_too_much(make):
    order = make.order(
        make.line(price=D("60")), make.line(price=D("60")), currency="EUR", rate=D("1.2"), charged=D("100")
    )
    last = order.lines.last()
    deliveries.book_in(
        make.boat, [Arrival(last, wont_come=True)], by=make.owner, on=make.today, today=make.today
    )
    assert owes(order) == (0, 5000)


def test_what_the_card_was_charged_leaves_nothing_to_pay(make):
    assert owes(make.order(make.line(price=D("70")), currency="EUR", charged=D("61.33"))) == (0, 0)
    assert owes(make.order(make.line(price=D("70")), charged=D("70"))) == (0, 0)


@pytest.mark.parametrize(
    "charges",
    [
        (ChargeFacts("tax", D(20), reclaimable=True),),
        (ChargeFacts("tax", D(20), in_prices=True, reclaimable=True),),
        (ChargeFacts("freight", D(5)),),
        (),
    ],
)
def test_bought_over_the_counter_leaves_nothing_to_pay(make, charges):
    facts = orders.OrderFacts(
        supplier=make.supplier(), currency="GBP", lines=[make.line(price=D("100"))], charges=charges
    )
    order, _ = deliveries.buy_here(make.boat, facts, by=make.owner, today=make.today)
    assert owes(order) == (0, 0)


def test_the_oldest_comes_first_and_other_boats_stay_out(make):
    supplier = make.supplier("Penryn Chandlers")
    late = make.order(make.line(), supplier=supplier)
    early = make.order(make.line(), supplier=supplier, on=make.today - timedelta(days=40))
    make.order(make.line())
    other = Factory.start(name="Other", prefix="other-")
    other.order(other.line())
    assert [row.order for row in owing.to_pay(make.boat, supplier)] == [early, late]
    assert len(owing.to_pay(make.boat)) == 3


def test_reading_what_is_owed_takes_the_same_queries_however_much(make, django_assert_num_queries):
    make.order(make.line(), charges=(ChargeFacts("freight", D(5), payee=make.supplier()),))
    with django_assert_num_queries(6):
        owing.everything(make.boat)
    for _ in range(40):
        make.order(
            make.line(),
            currency="EUR",
            rate=D("1.2"),
            charges=(ChargeFacts("freight", D(5), payee=make.supplier()),),
        )
    with django_assert_num_queries(6):
        assert len(owing.everything(make.boat)) == 82


def test_helpers_are_owed_until_they_are_paid_back(make):
    order = make.order(make.line(price=D("20")))
    payment = paid(make, Split(2000, order=order), payer="Tom", we_owe=True)
    assert list(owing.we_owe(make.boat)) == [payment]
    payments.pay_back(payment, on=make.today, today=make.today)
    assert list(owing.we_owe(make.boat)) == []
    payments.owe_again(payment)
    assert list(owing.we_owe(make.boat)) == [payment]


def test_cash_without_a_paper_stands_out(make):
    from refit.boat.actions.papers import add_paper
    from tests.boat.whole import picture

    order = make.order(make.line(price=D("20")))
    payment = paid(make, Split(2000, order=order), means="cash")
    paid(make, Split(1, order=make.order()), means="card")
    everything = Payment.objects.filter(boat=make.boat)
    assert list(owing.cash_without_paper(everything)) == [payment]
    orders.attach_paper(order, add_paper(make.boat, picture(), kind="receipt", by=make.owner))
    assert list(owing.cash_without_paper(everything)) == []


def test_store_credit_is_a_balance_that_pays_later_orders(make):
    supplier = make.supplier("Penryn Chandlers")
    order = make.order(make.line(price=D("100")), supplier=supplier)
    paid(make, Split(10000, order=order))
    assert owing.store_credits(make.boat) == []
    refund = Refund("goods", D(40), "GBP", came_on=make.today, as_store_credit=True)
    refunds.add_refund(order, [order.lines.get()], refund, by=make.owner, today=make.today)
    assert owing.store_credits(make.boat) == [(supplier, 4000)]
    later = make.order(make.line(price=D("30")), supplier=supplier)
    paid(make, Split(3000, order=later), means="credit")
    assert owing.store_credits(make.boat) == [(supplier, 1000)]
    assert owes(later) == (0, 0)
    paid(make, Split(1000, order=make.order(make.line(price=D("30")), supplier=supplier)), means="credit")
    assert owing.store_credits(make.boat) == []
