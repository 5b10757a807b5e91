"""Money back and goods back: refunds come and applied for, goods going back, sent and kept; what is owed to us."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.buying.actions import deliveries, refunds
from refit.buying.actions.deliveries import Arrival
from refit.buying.models import Credit, Order, Return
from refit.stores.models import Holding, SetAside
from tests.factory import Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
D = Decimal
HUGE = 10**30


def at(make, end=""):
    return f"/{make.boat.slug}/{end}"


@pytest.fixture
def shelf(make):
    return make.place("S3", name="Pilot berth")


@pytest.fixture
def order(make, shelf):
    """Four pumps at 25.00 that came onto a shelf, 20 days ago."""
    made = make.order(
        make.line(make.part("Pump"), packs=D(4), price=D("25.00")), on=make.today - timedelta(20)
    )
    came(make, made, shelf)
    return made


def came(make, order, shelf):
    arrivals = [Arrival(line, line.quantity, place=shelf) for line in order.lines.all()]
    day = make.today - timedelta(10)
    deliveries.book_in(make.boat, arrivals, by=make.owner, on=day, today=make.today)


def sent(make, order, **more):
    lines = [line.pk for line in order.lines.all()]
    start = {
        "kind": "price",
        "amount": "20.00",
        "state": "came",
        "came_on": make.today.isoformat(),
        "line": lines,
    }
    return {**start, **more}


def net(order):
    fresh = Order.objects.get(pk=order.pk)
    return fresh.landed - fresh.refunded


def back(make, order, many="1"):
    """Say that so many of the order's one line go back, by the factory's owner."""
    line = order.lines.get()
    held = Holding.objects.get(part=line.part)
    return refunds.say_going_back(order, [(line, D(many), held)], by=make.owner, on=make.today)


def test_a_refund_that_came_lowers_the_cost_and_can_be_taken_back(make, order, as_owner):
    page = as_owner.post(at(make, f"orders/{order.number}/refund/"), sent(make, order), follow=True)
    text = page.content.decode()
    assert "£80.00 all in" in text
    assert "£100.00 less £20.00 that came back" in text
    assert order.lines.get().refunded == 2000
    as_owner.post(at(make, f"money-back/{Credit.objects.get().pk}/take-back/"))
    assert net(order) == 10000


def test_a_refund_applied_for_is_cost_until_it_comes(make, order, as_owner):
    data = sent(make, order, kind="tax", state="applied")
    text = as_owner.post(at(make, f"orders/{order.number}/refund/"), data, follow=True).content.decode()
    credit = Credit.objects.get()
    assert "£100.00 all in" in text
    assert "applied for" in text
    assert net(order) == 10000
    data = {"came_on": make.today.isoformat(), "came": "18.50"}
    text = as_owner.post(at(make, f"money-back/{credit.pk}/came/"), data, follow=True).content.decode()
    assert net(order) == 8150
    assert "20.00 was applied for" in text
    as_owner.post(at(make, f"money-back/{credit.pk}/not-come/"))
    credit.refresh_from_db()
    assert (credit.came_on, credit.home, net(order)) == (None, 2000, 10000)
    assert credit.shares.get().home == 2000


def test_the_difference_of_exchange_is_named_and_stays(make, as_owner):
    order = make.order(make.line(price=D("100.00")), currency="EUR", rate=D("1.25"))
    data = sent(make, order, amount="50", currency="EUR", came="38.20")
    text = as_owner.post(at(make, f"orders/{order.number}/refund/"), data, follow=True).content.decode()
    assert net(order) == 8000 - 3820
    assert "difference of exchange: 1.80 GBP less" in text


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"amount": "100.01"}, "amount"),
        ({"amount": "0"}, "amount"),
        ({"amount": "x"}, "amount"),
        ({"came_on": "tomorrow"}, "came_on"),
        ({"kind": "goodwill", "reason": ""}, "reason"),
        ({"kind": "nonsense"}, "kind"),
        ({"line": []}, "line"),
        ({"line": ["999999"]}, "line"),
        ({"state": "applied", "as_store_credit": "on"}, "as_store_credit"),
    ],
)
def test_a_refund_that_cannot_be_right_changes_nothing(make, order, as_owner, change, field):
    if change.get("came_on") == "tomorrow":
        change = {"came_on": (make.today + timedelta(1)).isoformat()}
    answer = as_owner.post(at(make, f"orders/{order.number}/refund/"), sent(make, order, **change))
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert not Credit.objects.exists()
    assert net(order) == 10000


def test_earlier_refunds_lower_what_can_come_but_goodwill_may_be_more(make, order, as_owner):
    where = at(make, f"orders/{order.number}/refund/")
    as_owner.post(where, sent(make, order, amount="90"))
    assert "At most £10.00" in as_owner.get(where).content.decode()
    assert as_owner.post(where, sent(make, order, amount="10.01")).status_code == 422
    data = sent(make, order, amount="10.01", kind="goodwill", reason="Months late")
    assert as_owner.post(where, data).status_code == 302
    assert net(order) == -1


def test_the_same_refund_twice_counts_once(make, order, as_owner):
    data = sent(make, order, form_key="same-key-2")
    for _ in range(2):
        assert as_owner.post(at(make, f"orders/{order.number}/refund/"), data).status_code == 302
    assert Credit.objects.count() == 1


def test_goods_that_go_back_are_on_the_shelf_but_not_usable_until_sent(make, order, shelf, as_owner):
    line, held = order.lines.get(), Holding.objects.get()
    form = {f"{line.pk}-goes": "on", f"{line.pk}-quantity": "3", f"{line.pk}-from": held.pk, "why": "Leaks"}
    text = as_owner.post(at(make, f"orders/{order.number}/going-back/"), form, follow=True).content.decode()
    assert "going back, not usable" in text
    assert "3 × Pump" in text
    for where in (f"lockers/{shelf.code}/", f"parts/{line.part_id}/"):
        assert "3 going back, not usable" in as_owner.get(at(make, where)).content.decode()
    take = as_owner.post(at(make, f"lockers/{shelf.code}/take/{held.pk}/"), {"quantity": "2"})
    assert take.status_code == 422
    made = Return.objects.get()
    data = {"sent_on": make.today.isoformat(), "reference": "FW 77"}
    text = as_owner.post(at(make, f"going-back/{made.pk}/sent/"), data, follow=True).content.decode()
    held.refresh_from_db()
    assert held.quantity == 1
    assert "no refund yet" in text
    assert "FW 77" in text
    as_owner.post(at(make, f"going-back/{made.pk}/not-sent/"))
    held.refresh_from_db()
    assert held.quantity == 4
    assert SetAside.objects.get().closed_at is None
    as_owner.post(at(make, f"going-back/{made.pk}/keep/"))
    assert not Return.objects.exists()
    assert not SetAside.objects.exists()


@pytest.mark.parametrize(
    "form",
    [{}, {"goes": "on", "quantity": ""}, {"goes": "on", "quantity": "5"}, {"goes": "on", "from": "1x"}],
)
def test_no_more_goes_back_than_came(make, order, as_owner, form):
    line = order.lines.get()
    data = {f"{line.pk}-{word}": value for word, value in form.items()}
    assert as_owner.post(at(make, f"orders/{order.number}/going-back/"), data).status_code == 422
    assert not Return.objects.exists()
    assert not SetAside.objects.exists()


def test_an_order_of_which_nothing_came_has_nothing_to_send_back(make, as_owner):
    order = make.order()
    text = as_owner.get(at(make, f"orders/{order.number}/going-back/")).content.decode()
    assert "Nothing to send back" in text
    assert as_owner.post(at(make, f"orders/{order.number}/going-back/")).status_code == 422


def test_what_is_owed_to_us_is_listed_by_whom_and_since_when(make, order, as_viewer, as_owner):
    made = back(make, order, "2")
    data = sent(make, order, kind="tax", state="applied", amount="5")
    data["came_on"] = (make.today - timedelta(6)).isoformat()
    as_owner.post(at(make, f"orders/{order.number}/refund/"), data)
    answer = as_viewer.get(at(make, "money-back/"))
    assert [(row.state, row.amount, row.days) for row in answer.context["rows"]] == [
        ("applied for", 500, 6),
        ("going back, not sent yet", 5000, 0),
    ]
    assert "£55.00 to come back" in answer.content.decode()
    book = load_workbook(BytesIO(as_viewer.get(at(make, "money-back/?export=xlsx")).content))
    assert [row[6] for row in book.worksheets[0].iter_rows(values_only=True)][1:] == [5, 50]
    as_owner.post(at(make, f"going-back/{made.pk}/sent/"), {"sent_on": make.today.isoformat()})
    form = as_owner.get(at(make, f"orders/{order.number}/refund/?back={made.pk}")).context["form"]
    assert form["kind"].value() == "goods"
    assert form.ticked == {str(order.lines.get().pk)}
    as_owner.post(at(make, f"orders/{order.number}/refund/"), sent(make, order, kind="goods", amount="45"))
    assert [row.state for row in as_viewer.get(at(make, "money-back/")).context["rows"]] == ["applied for"]


def test_one_refund_settles_as_many_returns_as_it_pays_for(make, order, as_owner):
    back(make, order, "2")
    back(make, order, "1")
    where = at(make, f"orders/{order.number}/refund/")
    as_owner.post(where, sent(make, order, kind="goods", amount="45"))
    rows = as_owner.get(at(make, "money-back/")).context["rows"]
    assert [row.amount for row in rows] == [2500]
    as_owner.post(where, sent(make, order, kind="goods", amount="25"))
    assert as_owner.get(at(make, "money-back/")).context["rows"] == []


def test_the_list_costs_the_same_queries_however_long(make, shelf, as_owner):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(at(make, "money-back/")).status_code == 200
        return len(seen)

    def one():
        order = make.order(make.line(make.part()), on=make.today - timedelta(20))
        came(make, order, shelf)
        back(make, order)
        refund = refunds.Refund("tax", D(1), "GBP", applied_on=make.today)
        refunds.add_refund(order, list(order.lines.all()), refund, by=make.owner, today=make.today)

    one()
    few = queries()
    for _ in range(12):
        one()
    assert queries() == few


@pytest.mark.parametrize(
    "end", ["money-back/{0}/came/", "money-back/{0}/not-come/", "money-back/{0}/take-back/"]
)
def test_who_may_not_touch_a_refund(make, order, as_viewer, as_trade, as_outsider, as_owner, end):
    other = Factory.start("Other Boat", prefix="other-")
    pks = []
    for who, bought in ((make, order), (other, other.order())):
        refund = refunds.Refund("tax", D(1), "GBP", applied_on=who.today)
        rows = list(bought.lines.all())
        pks.append(refunds.add_refund(bought, rows, refund, by=who.owner, today=who.today).pk)
    where = at(make, end.format(pks[0]))
    assert [who.post(where).status_code for who in (as_viewer, as_trade, as_outsider)] == [403, 403, 404]
    for pk in (pks[1], 999999, HUGE):
        assert as_owner.post(at(make, end.format(pk))).status_code == 404
    assert as_owner.put(where).status_code == 405
    assert Credit.objects.count() == 2


@pytest.mark.parametrize("end", ["sent/", "not-sent/", "keep/"])
def test_who_may_not_touch_goods_that_go_back(make, order, as_viewer, as_outsider, as_owner, end):
    made = back(make, order)
    where = at(make, f"going-back/{made.pk}/{end}")
    assert [who.post(where).status_code for who in (as_viewer, as_outsider)] == [403, 404]
    for pk in (999999, HUGE):
        assert as_owner.post(at(make, f"going-back/{pk}/{end}")).status_code == 404


def test_names_are_shown_as_typed_and_run_nothing(make, order, as_owner):
    data = sent(make, order, reason="<script>x</script>", reference="=1+1‮")
    text = as_owner.post(at(make, f"orders/{order.number}/refund/"), data, follow=True).content.decode()
    assert "<script>x" not in text
    assert "&lt;script&gt;x" in text
