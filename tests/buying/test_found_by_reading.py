"""What reading found: sequences of deeds that once made money wrong, or broke the page; each is right or refused."""

import pytest

from refit.boat.refusals import Refused
from refit.buying import owing, reading
from refit.buying.actions import charges, corrections, deliveries, deposits, payments, refunds
from refit.buying.actions.charges import Bill
from refit.buying.actions.corrections import Head, LineChange
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.payments import Split
from refit.buying.actions.refunds import Refund
from refit.buying.book import read
from refit.buying.drawn import drawn
from refit.buying.forecast import Book
from refit.buying.models import Line, Order
from refit.stores.actions import parts, stow
from refit.stores.models import Holding
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "today": make.today}


def refusal(deed) -> str:
    with pytest.raises(Refused) as refused:
        deed()
    return refused.value.code


def landed(order: Order) -> int:
    return Order.objects.get(pk=order.pk).landed


def correct(order: Order, who: dict, *lines: LineChange, **head) -> None:
    facts = {"supplier": order.supplier, "ordered_on": order.ordered_on} | head
    corrections.correct_order(order, Head(**facts), lines, **who)


def test_two_charges_on_what_is_sent_free_round_up_to_no_more_than_was_paid(make):
    """8.505 each would be 8.51 twice, and the free line would cost a penny less than nothing."""
    both = (ChargeFacts("freight", D(10)), ChargeFacts("handling", D(10)))
    order = make.order(
        make.line(words="New under warranty", price=D(0)), charges=both, currency="EUR", charged=D("17.01")
    )
    assert (order.goods, order.landed) == (0, 1701)
    assert sorted(order.charges.values_list("home", flat=True)) == [850, 851]


def test_a_card_payment_that_was_taken_back_no_longer_fixes_what_the_order_costs(make, who):
    order = make.order(make.line(price=D(100)), currency="EUR", charged=D(80))
    payments.take_back_payment(order.payment_splits.get().payment)
    old = LineChange(make.line(price=D(100)), line=order.lines.get())
    correct(order, who, old, LineChange(make.line(words="One more", price=D(50))))
    assert landed(order) == 12000  # 150 at 1.25


def test_all_that_was_paid_at_another_rate_can_come_back(make, who):
    order = make.order(make.line(price=D(100)), currency="EUR", rate=D("1.25"))
    payments.pay(make.boat, [Split(7500, order=order, settles=10000)], on=make.today, **who)
    credit = refunds.add_refund(
        order, list(order.lines.all()), Refund("goods", D(100), "EUR", came_on=make.today), **who
    )
    assert (credit.home, credit.exchange_difference) == (7500, 0)


def test_too_much_paid_at_another_rate_is_what_was_paid(make, who):
    order = make.order(make.line(price=D(60)), make.line(price=D(60)), currency="EUR", rate=D("1.25"))
    payments.pay(make.boat, [Split(9000, order=order, settles=12000)], on=make.today, **who)
    last = Arrival(order.lines.last(), wont_come=True)
    deliveries.book_in(make.boat, [last], on=make.today, **who)
    order.refresh_from_db()
    assert owing.of_orders([order])[order.pk].over == 4500


def test_what_is_too_much_for_any_boat_is_refused(make):
    huge = make.line(price=D(10**10), packs=D(90))
    assert refusal(lambda: make.order(huge, currency="JPY", rate=D("0.000001"))) == "too_large"


def test_a_refund_that_is_too_much_is_refused(make, who):
    order = make.order()
    much = Refund("goodwill", D(10**10), "GBP", came_on=make.today, reason="A slip")
    assert refusal(lambda: refunds.add_refund(order, list(order.lines.all()), much, **who)) == "too_large"


def test_nothing_is_given_up_whole_while_money_came_back_on_it(make, who):
    """It would be cancelled, and what came back would stand in no sum."""
    order = make.order(charges=(ChargeFacts("freight", D(5)),))
    line = order.lines.get()
    refunds.add_refund(order, [line], Refund("freight", D(3), "GBP", came_on=make.today), **who)
    gone = lambda: deliveries.book_in(make.boat, [Arrival(line, wont_come=True)], on=make.today, **who)  # noqa: E731
    assert refusal(gone) == "below_refunded"


@pytest.mark.parametrize("change", [{"payee": None}, {"expected": True}])
def test_a_bill_that_was_paid_stays_a_bill_by_itself(make, who, change):
    order, courier = make.order(), make.supplier("Courier")
    charge = charges.add_charge(
        make.boat, list(order.lines.all()), Bill("duty", D(5), "GBP", payee=courier), **who
    )
    payments.pay(make.boat, [Split(500, charge=charge)], on=make.today, **who)
    bill = Bill("duty", D(6), "GBP", **{"payee": courier} | change)
    assert refusal(lambda: charges.change_charge(charge, bill, **who)) == "paid"
    charges.change_charge(charge, Bill("duty", D(6), "GBP", payee=courier), **who)
    assert landed(order) == 1600


def test_store_credit_that_was_spent_does_not_go_to_another_supplier(make, who):
    seller = make.supplier()
    one, two = make.order(supplier=seller), make.order(supplier=seller)
    credit = Refund("price", D(5), "GBP", came_on=make.today, as_store_credit=True)
    refunds.add_refund(one, list(one.lines.all()), credit, **who)
    payments.pay(make.boat, [Split(500, order=two)], on=make.today, means="credit", **who)
    same = LineChange(make.line(), line=one.lines.get())
    assert refusal(lambda: correct(one, who, same, supplier=make.supplier())) == "spent"


def test_where_more_came_than_was_ordered_the_price_is_still_free(make, who):
    order = make.order(make.line(packs=D(10), price=D(1)))
    line = order.lines.get()
    came = Arrival(line, D(12), more_agreed=True)
    deliveries.book_in(make.boat, [came], on=make.today, **who)
    correct(order, who, LineChange(make.line(packs=D(10), price=D(2)), line=line))
    assert landed(order) == 2000


def test_a_correction_leaves_the_unit_of_words(make, who):
    order = make.order()
    Line.objects.filter(order=order).update(unit="m")
    correct(order, who, LineChange(make.line(price=D(2)), line=order.lines.get()))
    assert order.lines.get().unit == "m"


def test_what_is_expected_is_expected_again_when_an_order_comes_again(make, who):
    order = make.order(charges=(ChargeFacts("duty", D(5), expected=True),))
    repeat = payments.repeat_order(order, every_months=1, next_on=make.today)
    assert payments.confirm_repeat(repeat, **who).charges.get().expected


def test_a_lost_deposit_is_taken_back_whole_on_the_orders_page(make, who, as_owner):
    order = make.order(make.line(price=D(500)))
    payments.pay(make.boat, [Split(20000, order=order)], on=make.today, **who)
    delivery = deposits.lose_deposit(order, on=make.today, **who)
    assert landed(order) == 20000
    as_owner.post(f"/{make.boat.slug}/deliveries/{delivery.pk}/undo/")
    assert (landed(order), order.lines.count()) == (50000, 1)


def test_what_was_sent_back_is_wanted_again(make: Factory, who):
    job, part, place = make.job(), make.part(), make.place()
    parts.add_need(job, part=part, words="", quantity=D(2))
    order = make.order(make.line(part, packs=D(2), job=job))
    line = order.lines.get()
    deliveries.book_in(make.boat, [Arrival(line, D(2), place=place)], on=make.today, **who)
    held = Holding.objects.get(part=part)
    back = refunds.say_going_back(order, [(line, D(2), held)], by=make.owner, on=make.today)
    assert reading.wanted([job])[job.pk][0].to_buy == 2
    assert [wish.to_buy for wish in Book(read(make.boat)).wishes(make.today)] == [2]
    refunds.send_back(back, on=make.today, **who)
    stow.take(make.stock(part, place, 5), D(2), job=job, on=make.today, **who)
    assert [(row.quantity, row.unknown) for row in drawn(make.boat, job.pk)] == [(2, 2)]
