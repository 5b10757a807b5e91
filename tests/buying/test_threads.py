"""Several people at the same orders, bills, refunds and payments at once: who wins, and what the others hear."""

from datetime import timedelta
from functools import partial

import pytest

from refit.boat.refusals import Refused
from refit.buying.actions import (
    charges,
    corrections,
    deliveries,
    deposits,
    disposals,
    orders,
    payments,
    refunds,
)
from refit.buying.actions.charges import Bill
from refit.buying.actions.corrections import Head, LineChange
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.payments import Split
from refit.buying.actions.refunds import Refund
from refit.buying.models import (
    Charge,
    Credit,
    Delivery,
    Disposal,
    Line,
    Order,
    Payment,
    PaymentSplit,
    Return,
    Supplier,
)
from refit.calc.dates import add_months
from refit.carry.ledger import differences
from refit.stores.actions import aside, stow
from refit.stores.models import Entry, EntryKind, Holding, SetAside
from tests.at_once import at_once
from tests.factory import D, Factory

pytestmark = [pytest.mark.threads, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def make() -> Factory:
    return Factory.start()


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "today": make.today}


def words(outcomes: list) -> list[str]:
    """Return the sentences with which the others were refused."""
    return [outcome.sentence for outcome in outcomes if isinstance(outcome, Refused)]


def codes(outcomes: list) -> list[str]:
    """Return what happened: `done`, or the code of a refusal; anything else is a fault of ours."""
    for outcome in outcomes:
        if isinstance(outcome, BaseException) and not isinstance(outcome, Refused):
            raise outcome
    return sorted(o.code if isinstance(o, Refused) else "done" for o in outcomes)


def test_two_book_in_the_same_line_at_once(make):
    """The parcel came once: the second is told that nothing is to come."""
    order = make.order(make.line(make.part(), packs=D(4)))
    came = [Arrival(order.lines.get(), D(4))]
    deed = lambda: deliveries.book_in(make.boat, came, by=make.owner, on=make.today, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * 4)) == ["done"] + ["more_than_ordered"] * 3
    assert Holding.objects.get().quantity == 4
    assert Delivery.objects.count() == 1
    assert list(differences()) == []


def test_two_undo_the_same_delivery_at_once(make):
    """It is taken back once."""
    order = make.order(make.line(make.part(), packs=D(4)))
    delivery = deliveries.book_in(
        make.boat, [Arrival(order.lines.get(), D(4))], by=make.owner, on=make.today, today=make.today
    )
    deed = lambda: deliveries.undo_delivery(delivery, by=make.owner, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * 3)) == ["done", "undone_already", "undone_already"]
    assert Holding.objects.get().quantity == 0
    assert list(differences()) == []


def test_cancelled_and_booked_in_at_once(make):
    """Either it came or it is cancelled, never both."""
    order = make.order(make.line(make.part(), packs=D(4)))
    came = [Arrival(order.lines.get(), D(4))]
    outcomes = at_once(
        [
            lambda: deliveries.book_in(make.boat, came, by=make.owner, on=make.today, today=make.today),
            lambda: orders.cancel_order(order),
        ]
    )
    assert codes(outcomes) in (["arrived", "done"], ["done", "not_placed"])
    order.refresh_from_db()
    assert order.state in ("arrived", "cancelled")
    assert list(differences()) == []


def test_orders_written_at_once_have_numbers_that_follow_each_other(make):
    """None twice, none left out; a supplier typed by all of them is made once."""
    deed = lambda: make.draft(supplier=orders.add_supplier(make.boat, "Chandler"))  # noqa: E731
    assert codes(at_once([deed] * 8)) == ["done"] * 8
    assert sorted(Order.objects.values_list("number", flat=True)) == list(range(1, 9))
    assert Supplier.objects.count() == 1
    assert list(differences()) == []


# Money


def test_two_bills_at_once_for_the_same_expected_charge(make, who):
    """One replaces what was expected; the other is told that the bill has come."""
    order = make.order(charges=(ChargeFacts("duty", D(5), expected=True),))
    charge = order.charges.get()
    bills = [Bill("duty", D(amount), "GBP") for amount in (7, 9)]
    outcomes = at_once([partial(charges.bill_came, charge, bill, **who) for bill in bills])
    assert codes(outcomes) == ["done", "not_expected"]
    assert words(outcomes) == ["This bill has come already; correct it instead."]
    won = 700 if isinstance(outcomes[0], Charge) else 900
    charge.refresh_from_db()
    order.refresh_from_db()
    assert (charge.amount, charge.expected, charge.expected_home) == (won, False, 500)
    assert order.landed == 1000 + won
    assert list(differences()) == []


def test_a_bill_comes_while_the_expected_charge_is_taken_off(make, who):
    """Whoever is first: the other hears that it is gone, or takes off the bill that came."""
    order = make.order(charges=(ChargeFacts("duty", D(5), expected=True),))
    charge = order.charges.get()
    outcomes = at_once(
        [
            lambda: charges.bill_came(charge, Bill("duty", D(7), "GBP"), **who),
            lambda: charges.remove_charge(charge, **who),
        ]
    )
    assert codes(outcomes) in (["done", "done"], ["done", "gone"])
    assert words(outcomes) in ([], ["This bill is gone: somebody took it away meanwhile."])
    order.refresh_from_db()
    assert (order.landed, Charge.objects.count()) == (1000, 0)
    assert list(differences()) == []


def test_two_refunds_at_once_that_together_exceed_the_cost(make, who):
    """10.00 was paid, 4.00 came back before: of 4.00 and 5.00 only one still fits."""
    order = make.order()
    lines = list(order.lines.all())

    def back(amount):
        refund = Refund("price", D(amount), "GBP", came_on=make.today)
        return partial(refunds.add_refund, order, lines, refund, **who)

    back(4)()
    outcomes = at_once([back(4), back(5)])
    assert codes(outcomes) == ["done", "more_than_cost"]
    won = 400 if isinstance(outcomes[0], Credit) else 500
    assert words(outcomes)[0].startswith(f"At most {6 - won / 100:.2f} can come back on order 1.")
    assert sorted(Credit.objects.values_list("home", flat=True)) == sorted([400, won])
    order.refresh_from_db()
    assert order.refunded == 400 + won
    assert list(differences()) == []


def test_a_refund_comes_and_is_taken_back_at_once(make, who):
    """What was taken back does not come; what came is taken back."""
    order = make.order()
    credit = refunds.add_refund(
        order, list(order.lines.all()), Refund("price", D(4), "GBP", applied_on=make.today), **who
    )
    outcomes = at_once(
        [
            lambda: refunds.refund_came(credit, came_on=make.today, came=None, today=make.today),
            lambda: refunds.take_back_refund(credit),
            lambda: refunds.take_back_refund(credit),
        ]
    )
    assert codes(outcomes) in (["done", "done", "gone"], ["done", "gone", "gone"])
    assert set(words(outcomes)) == {"This refund is gone: somebody took it away meanwhile."}
    order.refresh_from_db()
    assert (order.refunded, Credit.objects.count()) == (0, 0)
    assert list(differences()) == []


def test_two_pay_with_the_same_store_credit_at_once(make, who):
    """6.00 of it: two payments of 4.00 do not both fit, and it never falls below nil."""
    seller = make.supplier("Chandler")
    first, second = make.order(supplier=seller), make.order(supplier=seller)
    refund = Refund("price", D(6), "GBP", came_on=make.today, as_store_credit=True)
    refunds.add_refund(first, list(first.lines.all()), refund, **who)
    pay = partial(payments.pay, make.boat, on=make.today, means="credit", **who)
    outcomes = at_once([partial(pay, [Split(400, order=first)]), partial(pay, [Split(400, order=second)])])
    assert codes(outcomes) == ["done", "store_credit"]
    assert words(outcomes) == ["Chandler owes 2.00 of store credit, not 4.00."]
    assert payments.store_credit(seller) == 200
    assert Payment.objects.count() == 1
    assert list(differences()) == []


def test_store_credit_is_spent_and_taken_back_at_once(make, who):
    """Either it is spent, or it is gone."""
    seller = make.supplier("Chandler")
    order = make.order(supplier=seller)
    refund = Refund("price", D(6), "GBP", came_on=make.today, as_store_credit=True)
    credit = refunds.add_refund(order, list(order.lines.all()), refund, **who)
    outcomes = at_once(
        [
            lambda: payments.pay(make.boat, [Split(400, order=order)], on=make.today, means="credit", **who),
            lambda: refunds.take_back_refund(credit),
        ]
    )
    assert codes(outcomes) in (["done", "spent"], ["done", "store_credit"])
    assert words(outcomes)[0] in (
        "Chandler's store credit was spent; take that payment back first.",
        "Chandler owes 0.00 of store credit, not 4.00.",
    )
    assert payments.store_credit(seller) in (200, 0)
    assert Payment.objects.count() == Credit.objects.count()
    assert list(differences()) == []


def test_one_payment_taken_back_twice_at_once(make, who):
    """One takes it back; the rate that it set is open again."""
    order = make.order(currency="EUR", rate=D("1.25"))
    payment = payments.pay(make.boat, [Split(900, order=order, settles=1000)], on=make.today, **who)
    order.refresh_from_db()
    assert order.landed == 900
    outcomes = at_once([lambda: payments.take_back_payment(payment)] * 2)
    assert codes(outcomes) == ["done", "gone"]
    assert words(outcomes) == ["This payment is gone: somebody took it away meanwhile."]
    order.refresh_from_db()
    assert (order.landed, PaymentSplit.objects.count()) == (800, 0)
    assert list(differences()) == []


def test_two_pay_the_same_order_at_once(make, who):
    """Both are facts: both stand, and the rate is that of what both settled."""
    order = make.order(currency="EUR", rate=D("1.25"))
    pay = partial(payments.pay, make.boat, on=make.today, **who)
    splits = [[Split(amount, order=order, settles=500)] for amount in (450, 470)]
    assert codes(at_once([partial(pay, some) for some in splits])) == ["done", "done"]
    order.refresh_from_db()
    assert order.landed == 920
    assert list(differences()) == []


def test_an_order_is_paid_and_cancelled_at_once(make, who):
    """What was paid first stands on the cancelled order as paid too much; what is cancelled is not paid."""
    order = make.order()
    outcomes = at_once(
        [
            lambda: payments.pay(make.boat, [Split(1000, order=order)], on=make.today, **who),
            lambda: orders.cancel_order(order),
        ]
    )
    assert codes(outcomes) in (["done", "done"], ["done", "not_placed"])
    assert words(outcomes) in ([], ["Order 1 was not placed."])
    order.refresh_from_db()
    assert order.state == "cancelled"
    assert Payment.objects.count() == (1 if codes(outcomes) == ["done", "done"] else 0)
    assert list(differences()) == []


def test_a_correction_and_a_booking_in_at_once(make, who):
    """Five of the six came, and somebody puts the order down to two: never below what arrived."""
    order = make.order(make.line(make.part("Pump"), packs=D(6)))
    line = order.lines.get()
    facts = make.line(line.part, packs=D(2))
    outcomes = at_once(
        [
            lambda: corrections.correct_order(
                order, Head(order.supplier, order.ordered_on), [LineChange(facts, line=line)], **who
            ),
            lambda: deliveries.book_in(make.boat, [Arrival(line, D(5))], on=make.today, **who),
        ]
    )
    assert codes(outcomes) in (["below_arrived", "done"], ["done", "more_than_ordered"])
    assert words(outcomes)[0].startswith(("5 of Pump came; the order cannot be", "5 of Pump is more than"))
    line.refresh_from_db()
    assert (line.quantity, line.arrived) in ((D(6), D(5)), (D(2), D(0)))
    assert list(differences()) == []


def test_a_line_is_taken_off_while_it_is_booked_in(make, who):
    """It came, or it is no longer on the order."""
    order = make.order(make.line(make.part("Pump")), make.line(words="Hose"))
    pump, hose = order.lines.all()
    kept = LineChange(make.line(words="Hose"), line=hose)
    outcomes = at_once(
        [
            lambda: corrections.correct_order(order, Head(order.supplier, order.ordered_on), [kept], **who),
            lambda: deliveries.book_in(make.boat, [Arrival(pump, D(1))], on=make.today, **who),
        ]
    )
    assert codes(outcomes) in (["arrived", "done"], ["done", "gone"])
    assert words(outcomes)[0] in (
        "Pump has arrived or was refunded; it stays on the order.",
        "A line of this order is gone: somebody took it away meanwhile.",
    )
    assert (Line.objects.filter(pk=pump.pk).count(), Delivery.objects.count()) in ((1, 1), (0, 0))
    assert list(differences()) == []


def test_two_correct_the_same_order_at_once(make, who):
    """The second saw it as it no longer is: it would undo what the first one changed."""
    order = make.order()
    line = order.lines.get()
    head = Head(order.supplier, order.ordered_on)
    changes = [[LineChange(make.line(price=D(price)), line=line)] for price in (12, 15)]
    correct = partial(corrections.correct_order, order, head, seen=0, **who)
    outcomes = at_once([partial(correct, some) for some in changes])
    assert codes(outcomes) == ["corrected_meanwhile", "done"]
    assert words(outcomes) == [
        "Somebody changed order 1 meanwhile. Open it again, and repeat what is still right."
    ]
    order.refresh_from_db()
    assert order.landed == (1200 if isinstance(outcomes[0], list) else 1500)
    assert list(differences()) == []


def returned(make, who) -> tuple[Return, Holding]:
    """Return two of three that came, said to go back and set aside."""
    order = make.order(make.line(make.part("Pump"), packs=D(3)))
    line = order.lines.get()
    deliveries.book_in(make.boat, [Arrival(line, D(3))], on=make.today, **who)
    holding = Holding.objects.get()
    back = refunds.say_going_back(order, [(line, D(2), holding)], by=make.owner, on=make.today)
    return back, holding


def test_goods_are_sent_back_twice_at_once(make, who):
    """They leave the stores once."""
    back, holding = returned(make, who)
    outcomes = at_once([lambda: refunds.send_back(back, on=make.today, **who)] * 2)
    assert codes(outcomes) == ["done", "sent"]
    assert words(outcomes) == [f"These were sent on {make.today:%-d %b %Y} already."]
    holding.refresh_from_db()
    assert (holding.quantity, Entry.objects.filter(kind=EntryKind.RETURN).count()) == (D(1), 1)
    assert list(differences()) == []


def test_goods_are_sent_and_kept_at_once(make, who):
    """They go, or they stay."""
    back, holding = returned(make, who)
    outcomes = at_once(
        [
            lambda: refunds.send_back(back, on=make.today, **who),
            lambda: refunds.keep_after_all(back),
        ]
    )
    assert codes(outcomes) in (["done", "sent"], ["done", "gone"])
    assert words(outcomes)[0] in (
        "They were sent already; undo that first.",
        "What was said of goods going back is gone: somebody took it away meanwhile.",
    )
    holding.refresh_from_db()
    assert (holding.quantity, Return.objects.count()) in ((D(1), 1), (D(3), 0))
    assert list(differences()) == []


def test_two_say_that_the_same_goods_go_back(make, who):
    """Three came: of two and two, only the first two go back."""
    order = make.order(make.line(make.part("Pump"), packs=D(3)))
    line = order.lines.get()
    deliveries.book_in(make.boat, [Arrival(line, D(3))], on=make.today, **who)
    holding = Holding.objects.get()
    say = partial(refunds.say_going_back, order, [(line, D(2), holding)], by=make.owner, on=make.today)
    outcomes = at_once([say, say])
    assert codes(outcomes) == ["done", "more_than_came"]
    assert words(outcomes) == ["1 of Pump came and is not sent back yet, not 2."]
    assert aside.aside_of(holding) == 2
    assert list(differences()) == []


def test_something_is_set_aside_and_taken_at_once(make, who):
    """Of three, two are set aside or two are taken, not both."""
    holding = make.stock(make.part("Pump"), make.place("S3"), 3)
    outcomes = at_once(
        [
            lambda: aside.set_aside(holding, D(2), "for the surveyor"),
            lambda: stow.take(holding, D(2), on=make.today, **who),
        ]
    )
    assert codes(outcomes)[0] == "done"
    assert codes(outcomes)[1] in ("more_than_there", "set_aside")
    assert "Pump" in words(outcomes)[0]
    holding.refresh_from_db()
    assert (holding.quantity, SetAside.objects.count()) in ((D(3), 1), (D(1), 0))
    assert list(differences()) == []


def test_an_order_that_comes_again_is_confirmed_twice_at_once(make, who):
    """Two months are due, and two people press for the first: one order is made."""
    order = make.order(on=make.today - timedelta(100))
    repeat = payments.repeat_order(order, every_months=1, next_on=make.today - timedelta(70))
    outcomes = at_once([lambda: payments.confirm_repeat(repeat, **who)] * 2)
    assert codes(outcomes) == ["confirmed", "done"]
    assert words(outcomes)[0].startswith("Somebody confirmed this meanwhile: it is order 2.")
    assert Order.objects.count() == 2
    repeat.refresh_from_db()
    assert (repeat.order.number, repeat.next_on) == (2, add_months(make.today - timedelta(70), 1))
    assert list(differences()) == []


def test_what_was_sold_is_taken_back_twice_at_once(make, who):
    """It is gone once."""
    sold = disposals.add_disposal(
        make.boat, kind="sold", what="Old winch", system=make.system, on=make.today, amount=4000, **who
    )
    outcomes = at_once([lambda: disposals.remove_disposal(sold)] * 2)
    assert codes(outcomes) == ["done", "gone"]
    assert words(outcomes) == ["What left the boat is gone: somebody took it away meanwhile."]
    assert Disposal.objects.count() == 0
    assert list(differences()) == []


def test_a_deposit_is_lost_twice_at_once(make, who):
    """It is lost once, and costs what was paid."""
    order = make.order(make.line(words="New mast", price=D(500)))
    payments.pay(make.boat, [Split(20000, order=order)], on=make.today, is_deposit=True, **who)
    outcomes = at_once([lambda: deposits.lose_deposit(order, on=make.today, **who)] * 2)
    assert codes(outcomes) == ["done", "no_deposit"]
    assert words(outcomes) == ["Nothing was paid on order 1 for what has not come."]
    order.refresh_from_db()
    assert (order.landed, order.lines.count()) == (20000, 2)
    assert list(differences()) == []


def test_a_lost_deposit_is_found_twice_at_once(make, who):
    """It is found once: the work is to come again."""
    order = make.order(make.line(words="New mast", price=D(500)))
    payments.pay(make.boat, [Split(20000, order=order)], on=make.today, is_deposit=True, **who)
    lost = deposits.lose_deposit(order, on=make.today, **who)
    outcomes = at_once([lambda: deposits.find_deposit(lost, **who)] * 2)
    assert codes(outcomes) == ["done", "no_deposit"]
    assert words(outcomes) == ["There is no lost deposit here."]
    order.refresh_from_db()
    assert (order.landed, order.lines.count()) == (50000, 1)
    assert list(differences()) == []
