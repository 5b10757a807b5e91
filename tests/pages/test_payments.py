"""Payments: the list, a payee's statement, what is owed and to whom, deposits, and orders that come again."""

from datetime import date
from html import unescape
from io import BytesIO

import pytest
from openpyxl import load_workbook

from refit.buying.actions import orders, payments, refunds
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.payments import Split
from refit.buying.actions.refunds import Refund
from refit.buying.models import Charge, Order, Payment, Repeat
from tests.factory import D, Factory
from tests.lengths import Lengths

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
HUGE = 10**30


def page(make: Factory, end: str = "") -> str:
    return f"/{make.boat.slug}/payments/{end}"


def of_order(make: Factory, order: Order, end: str = "") -> str:
    return f"/{make.boat.slug}/orders/{order.number}/{end}"


def said(response) -> str:
    return " ".join(unescape(response.content.decode()).split())


def paid(make: Factory, *splits: Split, **facts) -> Payment:
    facts.setdefault("on", make.today)
    return payments.pay(make.boat, splits, today=make.today, by=make.owner, **facts)


def typed(make: Factory, *rows: tuple[str, str], **facts) -> dict:
    """Return a payment as typed: for each part its key and amount."""
    data = {"paid_on": make.today.isoformat(), "means": "card", "amount": ""}
    for key, amount in rows:
        data |= {f"{key}-pay": "on", f"{key}-amount": amount}
    return data | facts


@pytest.fixture
def chandler(make):
    """A chandler with two orders, of 30.00 and of 12.50."""
    supplier = make.supplier("Penryn Chandlers")
    first = make.order(make.line(price=D("30")), supplier=supplier, on=date(2026, 3, 1))
    second = make.order(make.line(price=D("12.50")), supplier=supplier, on=date(2026, 3, 20))
    return supplier, first, second


# --- the list -----------------------------------------------------------------------------------------------------


def test_the_list_begins_with_what_was_paid_and_what_is_left(make, chandler, as_viewer):
    supplier, first, _ = chandler
    paid(make, Split(3500, order=first), payee=supplier, means="cash", payer="Tom", we_owe=True)
    text = said(as_viewer.get(page(make)))
    for words in ("£35.00 paid", "£12.50 still to pay", "1 overpaid", "we owe £35.00", "1 in cash without a"):
        assert words in text
    assert "New payment" not in text


def test_the_list_is_sieved_sorted_and_leaves_as_a_file(make, chandler, as_owner):
    supplier, first, second = chandler
    one = paid(make, Split(3000, order=first), payee=supplier, reference="=1+1")
    two = paid(make, Split(100, order=second), means="cash", is_deposit=True, payer="Tom", we_owe=True)
    for query, expected in (
        ("", [two, one]),
        ("?sort=amount", [two, one]),
        ("?sort=-amount", [one, two]),
        ("?means=cash", [two]),
        (f"?payee={supplier.pk}", [one]),
        ("?which=deposit", [two]),
        ("?which=owe", [two]),
        ("?which=no-paper", [two]),
        ("?find=PENRYN", [one]),
        (f"?find={second.number}", [two]),
        ("?since=2099-01-01", []),
    ):
        assert [row.payment for row in as_owner.get(page(make, query)).context["rows"]] == expected, query
    book = load_workbook(BytesIO(as_owner.get(page(make, "?export=xlsx")).content))
    cells = {cell.value: cell.data_type for row in book.worksheets[0].iter_rows() for cell in row}
    assert cells["=1+1"] == "s"
    assert b"Penryn" in as_owner.get(page(make, "?export=csv")).content


class TestLongListsCostNoMoreQueriesThanShortOnes(Lengths):
    pages = {end: (f"payments/{end}", {}) for end in ("", "to-pay/", "we-owe/", "store-credit/", "again/")}
    steps = (10, 50)

    @classmethod
    def filled(cls, make, count):
        for _ in range(count):
            order = make.order(
                make.line(price=D("40")), charges=(ChargeFacts("duty", D(2), payee=make.supplier()),)
            )
            payment = paid(make, Split(100, order=order), payer="Tom", we_owe=True)
            paid(make, Split(50, order=order), payer="Tom", we_owe=True, means="cash")
            payments.pay_back(payment, on=make.today, today=make.today)
            refund = Refund("price", D(1), "GBP", came_on=make.today, as_store_credit=True)
            refunds.add_refund(order, [order.lines.get()], refund, by=make.owner, today=make.today)
            payments.repeat_order(order, every_months=1, next_on=make.today)

    def test_the_list(self):
        assert self.taken[""] == [20, 20]

    def test_what_is_to_be_paid(self):
        assert self.taken["to-pay/"] == [9, 9]

    def test_what_we_owe(self):
        assert self.taken["we-owe/"] == [10, 10]

    def test_store_credit(self):
        assert self.taken["store-credit/"] == [8, 8]

    def test_orders_that_come_again(self):
        assert self.taken["again/"] == [10, 10]


# --- a payment ----------------------------------------------------------------------------------------------------


def test_an_order_is_paid_in_one_press_and_undone_from_the_message(make, chandler, as_crew):
    _, first, _ = chandler
    form = as_crew.get(page(make, f"new/?order={first.number}")).context["form"]
    key = f"o{first.pk}"
    assert (form[f"{key}-pay"].value(), form[f"{key}-amount"].value()) == (True, "30.00")
    response = as_crew.post(
        page(make, f"new/?order={first.number}"), typed(make, (key, "30.00")), follow=True
    )
    assert response.redirect_chain[0][0] == of_order(make, first)
    assert "Paid 30.00 GBP." in said(response)
    payment = Payment.objects.get()
    undo = page(make, f"{payment.pk}/back/")
    assert f'action="{undo}"' in response.content.decode()
    as_crew.post(undo)
    assert Payment.objects.count() == 0


def test_a_months_statement_lists_what_is_to_pay_and_is_filled_to_the_amount(make, chandler, as_owner):
    supplier, first, second = chandler
    address = page(make, f"new/?supplier={supplier.pk}&amount=40")
    form = as_owner.get(address).context["form"]
    values = [form[f"o{order.pk}-amount"].value() for order in (first, second)]
    assert values == ["30.00", "10.00"]
    data = typed(make, (f"o{first.pk}", "30"), (f"o{second.pk}", "10"), amount="40", payee=supplier.pk)
    response = as_owner.post(address, data, follow=True)
    payment = Payment.objects.get()
    assert response.redirect_chain[0][0] == page(make, f"{payment.pk}/")
    assert (payment.amount, payment.payee) == (4000, supplier)
    assert "£40.00 paid" in said(response)


def test_the_last_penny_must_agree(make, chandler, as_owner):
    supplier, first, second = chandler
    data = typed(make, (f"o{first.pk}", "30"), (f"o{second.pk}", "12.49"), amount="42.50")
    response = as_owner.post(page(make, f"new/?supplier={supplier.pk}"), data)
    assert response.status_code == 422
    assert "The parts make 42.49, the payment is 42.50." in said(response)
    assert Payment.objects.count() == 0


def test_a_bill_of_another_payee_is_paid_with_it(make, as_owner):
    courier = make.supplier("Courier")
    make.order(make.line(), charges=(ChargeFacts("duty", D("11.40"), payee=courier),))
    bill = Charge.objects.get()
    assert "Duty" in said(as_owner.get(page(make, "to-pay/"))) or "duty" in said(
        as_owner.get(page(make, "to-pay/"))
    )
    for query in (f"supplier={courier.pk}", f"bill={bill.pk}"):
        form = as_owner.get(page(make, f"new/?{query}")).context["form"]
        assert form[f"c{bill.pk}-amount"].value() == "11.40"
    as_owner.post(page(make, f"new/?bill={bill.pk}"), typed(make, (f"c{bill.pk}", "")))
    assert Payment.objects.get().splits.get().amount == 1140


def test_what_a_card_charge_settled_sets_the_rate_for_so_much_and_the_rest_is_not_final(make, as_owner):
    order = make.order(make.line(price=D("300")), currency="EUR", rate=D("1.2"))
    key = f"o{order.pk}"
    data = typed(make, (key, "84.00"), **{f"{key}-settles": "100"})
    response = as_owner.post(page(make, f"new/?order={order.number}"), data, follow=True)
    text = said(response)
    assert "rate not final</span> for 200.00 EUR" in text
    assert "settled 100.00 EUR" in text
    order.refresh_from_db()
    assert order.landed == 8400 + 16667
    form = as_owner.get(page(make, f"new/?order={order.number}")).context["form"]
    assert (form[f"{key}-amount"].value(), form[f"{key}-settles"].value()) == ("166.67", "200.00")
    data = typed(make, (key, "171.23"), **{f"{key}-settles": "200.01"})
    response = as_owner.post(page(make, f"new/?order={order.number}"), data)
    assert response.status_code == 422
    assert "200.00 EUR of order" in said(response)
    data[f"{key}-settles"] = "200"
    text = said(as_owner.post(page(make, f"new/?order={order.number}"), data, follow=True))
    assert "not final" not in text
    order.refresh_from_db()
    assert order.landed == 8400 + 17123


@pytest.mark.parametrize(
    "facts",
    [
        {"paid_on": ""},
        {"paid_on": "2099-01-01"},
        {"means": "shells"},
        {"means": "credit"},
        {"amount": "31"},
        {"amount": "-1"},
        {"payee": "999999"},
        {"we_owe": "on", "payer": ""},
        {"payer": "x" * 81},
        {"reference": "x" * 61},
    ],
)
def test_what_cannot_be_right_changes_nothing(make, chandler, as_owner, facts):
    _, first, _ = chandler
    data = typed(make, (f"o{first.pk}", "30")) | facts
    response = as_owner.post(page(make, f"new/?order={first.number}"), data)
    assert response.status_code == 422
    assert '<div class="wrong"' in response.content.decode()
    assert Payment.objects.count() == 0


@pytest.mark.parametrize("amount", ["0", "-5", "1e3", "999999999999999", "x", "\x00", "1.239"])
def test_an_amount_that_cannot_be_right_changes_nothing(make, chandler, as_owner, amount):
    _, first, _ = chandler
    data = typed(make, (f"o{first.pk}", amount))
    response = as_owner.post(page(make, f"new/?order={first.number}"), data)
    assert response.status_code == 422
    assert Payment.objects.count() == 0


def test_nothing_ticked_is_nothing_paid(make, chandler, as_owner):
    _, first, _ = chandler
    response = as_owner.post(page(make, f"new/?order={first.number}"), typed(make))
    assert response.status_code == 422
    assert Payment.objects.count() == 0


def test_the_same_form_twice_pays_once(make, chandler, as_owner):
    _, first, _ = chandler
    data = typed(make, (f"o{first.pk}", "5"), form_key="same")
    for _ in range(2):
        response = as_owner.post(page(make, f"new/?order={first.number}"), data, follow=True)
    assert "Already recorded at" in said(response)
    assert Payment.objects.count() == 1


def test_what_the_address_names_is_of_this_boat_and_placed(make, chandler, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    theirs = other.order(
        other.line(), other.line(), charges=(ChargeFacts("duty", D(2), payee=other.supplier()),)
    )
    draft = make.draft()
    bill = Charge.objects.get()
    for query in (
        f"order={draft.number}",
        "order=999",
        f"order={HUGE}",
        f"order={'9' * 5000}",
        "order=x",
        f"bill={bill.pk}",
    ):
        assert as_owner.get(page(make, f"new/?{query}")).status_code == 404, query
        assert as_owner.post(page(make, f"new/?{query}"), {}).status_code == 404
    assert as_owner.get(page(make, f"new/?supplier={theirs.supplier_id}")).context["form"].rows == []


def test_store_credit_is_a_means_of_payment(make, chandler, as_owner):
    supplier, first, second = chandler
    paid(make, Split(3000, order=first))
    refund = Refund("goods", D(20), "GBP", came_on=make.today, as_store_credit=True)
    refunds.add_refund(first, [first.lines.get()], refund, by=make.owner, today=make.today)
    assert "£20.00 of store credit" in said(as_owner.get(page(make, "store-credit/")))
    address = page(make, f"new/?supplier={supplier.pk}")
    assert "£20.00 of store credit" in said(as_owner.get(address))
    as_owner.post(address, typed(make, (f"o{second.pk}", "12.50"), means="credit"))
    assert "£7.50 of store credit" in said(as_owner.get(page(make, "store-credit/")))


def test_a_payment_made_by_placing_its_order_is_not_taken_back_alone(make, as_owner):
    order = make.order(make.line(price=D("100")), currency="EUR", charged=D("90"))
    payment = Payment.objects.get()
    response = as_owner.post(page(make, f"{payment.pk}/back/"), follow=True)
    assert "was made by placing its order" in said(response)
    assert Payment.objects.get() == payment
    assert "Take this payment back" not in said(as_owner.get(page(make, f"{payment.pk}/")))
    orders.back_to_draft(order)


def test_a_helper_is_owed_paid_back_and_owed_again(make, chandler, as_owner):
    _, first, _ = chandler
    data = typed(make, (f"o{first.pk}", "30"), we_owe="on", payer="Tom")
    as_owner.post(page(make, f"new/?order={first.number}"), data)
    payment = Payment.objects.get()
    assert "We owe £30.00" in said(as_owner.get(page(make, "we-owe/")))
    assert as_owner.post(page(make, f"{payment.pk}/paid-back/"), {"on": "2099-01-01"}).status_code == 422
    assert as_owner.post(page(make, f"{payment.pk}/paid-back/"), {"on": ""}).status_code == 422
    response = as_owner.post(
        page(make, f"{payment.pk}/paid-back/"), {"on": make.today.isoformat()}, follow=True
    )
    assert "We owe nobody" in said(response)
    assert page(make, f"{payment.pk}/owed/") in said(response)
    assert "We owe £30.00" in said(as_owner.post(page(make, f"{payment.pk}/owed/"), follow=True))


# --- what stands out ----------------------------------------------------------------------------------------------


def test_today_shows_what_is_to_pay_too_much_owed_and_due_again(make, chandler, as_owner):
    _, first, second = chandler
    paid(make, Split(3100, order=first), payer="Tom", we_owe=True)
    payments.repeat_order(second, every_months=1, next_on=make.today)
    text = said(as_owner.get(f"/{make.boat.slug}/"))
    for words in (
        "<b>1</b> orders and bills to pay",
        "<b>1</b> paid too much",
        "<b>1</b> to pay back to helpers",
        "<b>1</b> due again: confirm",
    ):
        assert words in text


def test_a_cancelled_order_that_was_paid_stands_out_until_its_deposit_is_lost(make, as_owner):
    order = make.order(make.line(words="Rigging work", service=True, price=D("800")))
    paid(make, Split(20000, order=order), is_deposit=True)
    orders.cancel_order(order)
    text = said(as_owner.get(page(make, "to-pay/")))
    assert "200.00 too much" in text
    address = of_order(make, order, "lost/")
    assert address in text
    assert "£200.00 would be lost" in said(as_owner.get(address))
    assert as_owner.post(address, {"on": "2099-01-01"}).status_code == 422
    response = as_owner.post(address, {"on": make.today.isoformat()}, follow=True)
    assert "it stands as a cost" in said(response)
    assert "Deposit lost" in said(response)
    assert '<span class="mark mark-stop">deposit lost</span>' in response.content.decode()
    order.refresh_from_db()
    assert order.landed == 20000
    found = order.lines.last().deliveries.get().delivery
    undo = of_order(make, order, f"lost/{found.pk}/undo/")
    assert undo in said(response)
    as_owner.post(undo)
    order.refresh_from_db()
    assert order.state == "cancelled"
    assert as_owner.post(of_order(make, order, f"lost/{HUGE}/undo/")).status_code == 404


def test_without_a_deposit_nothing_is_lost(make, chandler, as_owner):
    _, first, _ = chandler
    address = of_order(make, first, "lost/")
    assert "Nothing was paid on this order" in said(as_owner.get(address))
    assert as_owner.post(address, {"on": make.today.isoformat()}).status_code == 422


# --- coming again -------------------------------------------------------------------------------------------------


def test_storage_comes_again_each_time_by_a_persons_hand(make, as_owner):
    order = make.order(make.line(words="Storage ashore", service=True, price=D("180")), on=date(2026, 1, 31))
    address = of_order(make, order, "repeat/")
    form = as_owner.get(address).context["form"]
    assert (form["every_months"].value(), form["next_on"].value()) == ("1", date(2026, 2, 28))
    response = as_owner.post(address, {"every_months": "1", "next_on": "2026-02-28"}, follow=True)
    assert "Comes again every month, next on 28 Feb 2026" in said(response)
    assert "1 due again" in said(as_owner.get(page(make, "again/")))
    assert Order.objects.count() == 1
    again = of_order(make, order, "again/")
    assert "Due again on 28 Feb 2026" in said(as_owner.get(again))
    response = as_owner.post(again, {"price": "195,50"}, follow=True)
    made = Order.objects.get(number=order.number + 1)
    assert (made.landed, made.ordered_on) == (19550, date(2026, 2, 28))
    assert response.redirect_chain[0][0] == of_order(make, made)
    assert as_owner.get(again).status_code == 404  # it goes on from the newest
    undo = of_order(make, order, f"again/{made.number}/undo/")
    assert undo in said(response)
    assert "it is due again" in said(as_owner.post(undo, follow=True))
    assert Order.objects.count() == 1
    assert Repeat.objects.get().next_on == date(2026, 2, 28)


def test_it_stops_and_goes_on(make, as_owner):
    order = make.order(make.line(words="Storage ashore", service=True, price=D("180")))
    payments.repeat_order(order, every_months=2, next_on=make.today)
    response = as_owner.post(of_order(make, order, "repeat/stop/"), follow=True)
    assert "no longer comes again" in said(response)
    assert as_owner.get(of_order(make, order, "again/")).status_code == 404
    assert as_owner.post(of_order(make, order, "again/"), {"price": ""}).status_code == 404
    as_owner.post(of_order(make, order, "repeat/on/"))
    assert Repeat.objects.get().stopped_at is None


@pytest.mark.parametrize(
    "data", [{"every_months": "0"}, {"every_months": "61"}, {"next_on": ""}, {"every_months": "1.5"}]
)
def test_a_repeat_that_cannot_be_right_changes_nothing(make, as_owner, data):
    order = make.order()
    response = as_owner.post(
        of_order(make, order, "repeat/"), {"every_months": "1", "next_on": "2026-02-28"} | data
    )
    assert response.status_code == 422
    assert Repeat.objects.count() == 0


# --- who may ------------------------------------------------------------------------------------------------------


def test_who_may(make, chandler, as_viewer, as_trade, as_outsider, as_owner):
    _, first, _ = chandler
    payment = paid(make, Split(100, order=first), we_owe=True, payer="Tom")
    shown = ["", "to-pay/", "we-owe/", "store-credit/", "again/", f"{payment.pk}/"]
    changed = [f"{payment.pk}/back/", f"{payment.pk}/paid-back/", f"{payment.pk}/owed/", "new/"]
    for client, sees, changes in ((as_viewer, 200, 403), (as_trade, 403, 403), (as_outsider, 404, 404)):
        for end in shown:
            assert client.get(page(make, end)).status_code == sees
        for end in changed:
            assert client.post(page(make, end)).status_code == changes
    for end in shown:
        assert as_owner.post(page(make, end)).status_code == 405
    assert Payment.objects.get() == payment


def test_another_boats_payment_and_odd_numbers_are_not_found(make, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    theirs = paid(other, Split(100, order=other.order()))
    for pk in (theirs.pk, 0, 999_999, HUGE):
        assert as_owner.get(page(make, f"{pk}/")).status_code == 404
        for end in ("back/", "paid-back/", "owed/"):
            assert as_owner.post(page(make, f"{pk}/{end}")).status_code == 404
    assert Payment.objects.get() == theirs


def test_names_run_nothing(make, as_owner):
    evil = "<script>alert(1)</script>\u202e"
    supplier = make.supplier(evil)
    order = make.order(make.line(words=evil), supplier=supplier, reference=evil)
    payments.repeat_order(order, every_months=1, next_on=make.today)
    payment = paid(make, Split(1, order=order), payee=supplier, payer=evil, reference=evil, we_owe=True)
    ends = ("", "to-pay/", "we-owe/", "again/", f"{payment.pk}/", f"new/?supplier={supplier.pk}")
    for address in (
        *(page(make, end) for end in ends),
        of_order(make, order),
        of_order(make, order, "again/"),
    ):
        text = as_owner.get(address).content.decode()
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert(1)" in text
