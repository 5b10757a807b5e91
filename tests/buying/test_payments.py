"""Payments to the last penny, deposits that are lost, and orders that come again; each deed and its way back."""

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from refit.boat.refusals import Refused
from refit.buying import spend
from refit.buying.actions import deliveries, orders, payments
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.deposits import deposit_at_stake, find_deposit, lose_deposit
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.payments import Split
from refit.buying.models import Correction, Order, Payment, PaymentSplit, Repeat
from refit.buying.spend import Filters
from refit.carry.ledger import differences
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


def paid(make: Factory, *splits: Split, **facts) -> Payment:
    facts.setdefault("on", make.today)
    return payments.pay(make.boat, splits, today=make.today, by=make.owner, **facts)


def money(make: Factory) -> tuple[int, int, int]:
    """Return ordered, arrived and paid of the whole boat."""
    rows = spend.facts(make.boat, Filters())
    return (
        sum(row.ordered for row in rows),
        sum(row.delivered for row in rows),
        sum(row.paid for row in rows),
    )


def hire(make: Factory, price: str = "1000", **facts) -> Order:
    """Order work of a contractor: hours at a rate."""
    line = make.line(words="Rigging work", service=True, packs=D(20), price=D(price) / 20)
    return make.order(line, supplier=make.supplier("Tidewater Riggers"), **facts)


def lose(make: Factory, order: Order, **facts):
    facts.setdefault("on", make.today)
    return lose_deposit(order, today=make.today, by=make.owner, **facts)


# --- splitting ----------------------------------------------------------------------------------------------------


def test_a_months_statement_is_split_to_the_last_penny(make):
    supplier = make.supplier("Penryn Chandlers")
    some = [make.order(make.line(price=D(price)), supplier=supplier) for price in ("12.34", "5.66", "0.01")]
    splits = [Split(order.landed, order=order) for order in some]
    payment = paid(make, *splits, amount=1801, payee=supplier)
    assert (payment.amount, payment.splits.count()) == (1801, 3)
    with pytest.raises(Refused) as refused:
        paid(make, *splits, amount=1800)
    assert refused.value.code == "splits"
    assert Payment.objects.count() == 1


def test_hours_at_a_rate_are_a_line_of_work(make):
    order = make.order(make.line(words="Welder", service=True, packs=D("7.5"), price=D("42.50")))
    assert order.landed == 31875


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    price=st.integers(100, 99_999),
    parts=st.lists(st.tuples(st.integers(1, 60_000), st.integers(1, 40)), min_size=1, max_size=4),
)
def test_several_card_charges_make_the_order_cost_what_left_the_account(make, price, parts):
    """Whatever each part settled, once all is settled the order costs the sum of the charges, to the penny."""
    order = make.order(make.line(price=D(price) / 100), make.line(price=D("3")), currency="SEK", rate=D("13"))
    total, left = price + 300, price + 300
    charged = []
    for number, (home, share) in enumerate(parts):
        settles = left if number == len(parts) - 1 else min(total * share // 100, left - 1)
        if settles <= 0:
            continue
        left -= settles
        charged.append(paid(make, Split(home, order=order, settles=settles)))
    order.refresh_from_db()
    assert order.landed == sum(payment.amount for payment in charged)
    assert money(make)[0] == sum(Order.objects.counted().values_list("landed", flat=True))
    for payment in charged:
        payments.take_back_payment(payment)
    order.refresh_from_db()
    assert order.landed == round((price + 300) / 13)
    orders.cancel_order(order)


# --- deposits -----------------------------------------------------------------------------------------------------


def test_a_lost_deposit_is_a_cost_and_said_so(make):
    order = hire(make)
    paid(make, Split(30000, order=order), is_deposit=True)
    assert money(make) == (100000, 0, 30000)
    assert deposit_at_stake(order) == 30000
    lose(make, order)
    order.refresh_from_db()
    assert (order.landed, order.state) == (30000, "arrived")
    assert money(make) == (30000, 30000, 30000)
    line = order.lines.last()
    assert (line.words, line.landed, line.system) == ("Deposit lost, Tidewater Riggers", 30000, make.system)
    said = Correction.objects.get(order=order)
    assert (said.what, said.difference) == ("Deposit lost", -70000)
    assert deposit_at_stake(order) == 0


def test_a_lost_deposit_can_be_found_again(make):
    order = hire(make)
    paid(make, Split(30000, order=order), is_deposit=True)
    delivery = lose(make, order)
    find_deposit(delivery, by=make.owner, today=make.today)
    order.refresh_from_db()
    assert (order.landed, order.state, order.lines.count()) == (100000, "ordered", 1)
    assert money(make) == (100000, 0, 30000)
    with pytest.raises(Refused) as refused:
        find_deposit(delivery, by=make.owner, today=make.today)
    assert refused.value.code == "no_deposit"
    lose(make, order)
    assert money(make) == (30000, 30000, 30000)


def test_what_came_is_kept_and_only_the_rest_is_lost(make):
    order = make.order(
        make.line(words="Mast lift", service=True, price=D("200")),
        make.line(words="Rigging work", service=True, price=D("800")),
        charges=(ChargeFacts("handling", D(10)),),
    )
    came = Arrival(order.lines.first(), D(1))
    deliveries.book_in(make.boat, [came], by=make.owner, on=make.today, today=make.today)
    paid(make, Split(50000, order=order))
    assert deposit_at_stake(order) == 50000 - 20000 - 1000
    lose(make, order)
    assert money(make) == (50000, 50000, 50000)


@pytest.mark.parametrize("home", [False, True])
def test_a_deposit_in_foreign_money_costs_what_left_the_account(make, home):
    order = hire(make, currency="EUR", rate=D("1.2"))
    paid(make, Split(26110, order=order, settles=None if home else 30000))
    lose(make, order)
    order.refresh_from_db()
    assert order.landed == 26110
    assert money(make) == (26110, 26110, 26110)


def test_a_deposit_on_a_cancelled_order_is_lost_and_found_cancelled(make):
    order = hire(make)
    paid(make, Split(30000, order=order))
    orders.cancel_order(order)
    assert money(make) == (0, 0, 0)
    delivery = lose(make, order)
    order.refresh_from_db()
    assert (order.state, order.landed) == ("arrived", 30000)
    assert money(make) == (30000, 30000, 30000)
    find_deposit(delivery, by=make.owner, today=make.today)
    order.refresh_from_db()
    assert (order.state, money(make)) == ("cancelled", (0, 0, 0))


def test_a_deposit_for_what_wont_come_is_lost(make):
    order = hire(make)
    paid(make, Split(30000, order=order))
    gone = Arrival(order.lines.get(), wont_come=True)
    deliveries.book_in(make.boat, [gone], by=make.owner, on=make.today, today=make.today)
    delivery = lose(make, order)
    assert money(make) == (30000, 30000, 30000)
    find_deposit(delivery, by=make.owner, today=make.today)
    order.refresh_from_db()
    assert order.state == "cancelled"


def test_no_deposit_no_loss(make):
    order = hire(make)
    for fault in (order, make.draft()):
        with pytest.raises(Refused) as refused:
            lose(make, fault)
        assert refused.value.code == "no_deposit"
    paid(make, Split(100000, order=order))
    came = Arrival(order.lines.get(), D(20))
    deliveries.book_in(make.boat, [came], by=make.owner, on=make.today, today=make.today)
    with pytest.raises(Refused):
        lose(make, order)
    with pytest.raises(Refused):
        lose(make, hire(make), on=make.today + timedelta(days=1))
    assert Order.objects.get(pk=order.pk).lines.count() == 1


# --- coming again -------------------------------------------------------------------------------------------------


def storage(make: Factory, months: int = 3) -> Repeat:
    """Order a month of storage, some months ago, that comes again every month."""
    first = date(make.today.year - 1, 1, 31)
    order = make.order(
        make.line(words="Storage ashore", service=True, price=D("180"), total=True),
        charges=(ChargeFacts("tax", D(36), words="Tax"),),
        supplier=make.supplier("Boatyard"),
        on=first,
    )
    return payments.repeat_order(order, every_months=1, next_on=date(first.year, 2, 28))


def test_storage_comes_again_when_a_person_confirms_it(make):
    repeat = storage(make)
    assert Order.objects.count() == 1  # nothing by itself
    made = payments.confirm_repeat(repeat, by=make.owner, today=make.today)
    assert (made.landed, made.ordered_on, made.state) == (21600, repeat.next_on, "ordered")
    repeat.refresh_from_db()
    assert (repeat.order, repeat.next_on) == (made, date(made.ordered_on.year, 3, 28))


def test_a_new_price_holds_from_then_on(make):
    repeat = storage(make)
    made = payments.confirm_repeat(repeat, by=make.owner, today=make.today, price=D("195"))
    assert made.landed == 23100
    repeat.refresh_from_db()
    again = payments.confirm_repeat(repeat, by=make.owner, today=make.today)
    assert (again.landed, again.number) == (23100, made.number + 1)


def test_an_order_that_came_again_can_be_taken_back(make):
    repeat = storage(make)
    before, due = repeat.order, repeat.next_on
    made = payments.confirm_repeat(repeat, by=make.owner, today=make.today)
    payments.unconfirm_repeat(made, before)
    repeat.refresh_from_db()
    assert (repeat.order, repeat.next_on, Order.objects.count()) == (before, due, 1)
    with pytest.raises(Refused) as refused:
        payments.unconfirm_repeat(before, make.order())
    assert refused.value.code == "no_repeat"


def test_an_order_that_came_again_and_was_paid_stays(make):
    repeat = storage(make)
    before = repeat.order
    made = payments.confirm_repeat(repeat, by=make.owner, today=make.today)
    paid(make, Split(100, order=made))
    with pytest.raises(Refused) as refused:
        payments.unconfirm_repeat(made, before)
    assert refused.value.code == "paid"
    repeat.refresh_from_db()
    assert repeat.order == made


def test_stopped_or_not_due_it_does_not_come(make):
    repeat = storage(make)
    payments.repeat_order(repeat.order, every_months=1, next_on=make.today + timedelta(days=1))
    with pytest.raises(Refused) as refused:
        payments.confirm_repeat(repeat, by=make.owner, today=make.today)
    assert refused.value.code == "not_due"
    payments.stop_repeat(repeat)
    with pytest.raises(Refused) as refused:
        payments.confirm_repeat(repeat, by=make.owner, today=make.today)
    assert refused.value.code == "stopped"
    for fault in (0, 61):
        with pytest.raises(Refused):
            payments.repeat_order(repeat.order, every_months=fault, next_on=make.today)
    with pytest.raises(Refused):
        payments.repeat_order(make.draft(), every_months=1, next_on=make.today)


def test_a_foreign_order_comes_again_at_the_rate_of_its_day(make):
    day = date(2020, 3, 2)
    order = make.order(
        make.line(service=True, words="Berth", price=D("117")), currency="EUR", ordered_on=day, on=day
    )
    repeat = payments.repeat_order(order, every_months=1, next_on=date(2020, 4, 2))
    made = payments.confirm_repeat(repeat, by=make.owner, today=make.today)
    assert (made.rate_source, made.rate_on) == ("ecb", date(2020, 4, 2))
    assert made.rate != order.rate


def test_every_deed_leaves_the_ledger_clean(make):
    order = hire(make)
    payment = paid(make, Split(30000, order=order))
    delivery = lose(make, order)
    assert list(differences()) == []
    find_deposit(delivery, by=make.owner, today=make.today)
    assert list(differences()) == []
    payments.take_back_payment(payment)
    assert list(differences()) == []
    assert PaymentSplit.objects.count() == 0
