"""Bills as they come: the real one for an expected charge, one over a parcel, corrected, taken off, asked for."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.buying.actions.orders import ChargeFacts
from refit.buying.models import Charge, Order, Supplier
from tests.factory import Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
D = Decimal
HUGE = 10**30


def at(make, end=""):
    return f"/{make.boat.slug}/{end}"


def landed(order):
    return Order.objects.get(pk=order.pk).landed


@pytest.fixture
def order(make):
    """An order of 100.00 over two lines, with 20.00 of duty expected from a courier, 40 days old."""
    duty = ChargeFacts("duty", D("20.00"), expected=True, payee=make.supplier("Quayside Carriers"))
    lines = [make.line(words="Wire", price=D("75.00")), make.line(words="Terminals", price=D("25.00"))]
    return make.order(*lines, charges=(duty,), on=make.today - timedelta(40))


def bill(order):
    return Charge.objects.get(shares__line=order.lines.first())


def sent(make, **more):
    return {"amount": "31.47", "currency": "", "billed_on": make.today.isoformat(), **more}


def test_the_real_bill_takes_the_place_of_what_was_expected(make, order, as_owner):
    charge = bill(order)
    page = as_owner.get(at(make, f"orders/{order.number}/")).content.decode()
    assert "expected, in the sums" in page
    assert "£120.00 all in" in page
    answer = as_owner.post(
        at(make, f"bills/{charge.pk}/came/"), sent(make, payee="quayside carriers"), follow=True
    )
    page = answer.content.decode()
    assert "£131.47 all in" in page
    assert "20.00 was expected" in page
    charge.refresh_from_db()
    assert (charge.expected, charge.home, charge.payee.name) == (False, 3147, "Quayside Carriers")
    assert sorted(charge.shares.values_list("home", flat=True)) == [787, 2360]
    assert Supplier.objects.filter(boat=make.boat, name__iexact="quayside carriers").count() == 1


def test_the_bill_can_be_expected_again(make, order, as_owner):
    charge = bill(order)
    as_owner.post(at(make, f"bills/{charge.pk}/came/"), sent(make))
    as_owner.post(at(make, f"bills/{charge.pk}/not-come/"))
    charge.refresh_from_db()
    assert (charge.expected, charge.home, landed(order)) == (True, 2000, 12000)


def test_a_bill_in_another_currency_takes_the_rate_typed(make, order, as_owner):
    charge = bill(order)
    as_owner.post(at(make, f"bills/{charge.pk}/came/"), sent(make, amount="50", currency="eur", rate="1,25"))
    charge.refresh_from_db()
    assert (charge.currency, charge.amount, charge.home) == ("EUR", 5000, 4000)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"amount": ""}, "amount"),
        ({"amount": "-1"}, "amount"),
        ({"amount": "1e3"}, "amount"),
        ({"currency": "ZZZ"}, "currency"),
        ({"billed_on": "2999-01-01"}, "billed_on"),
        ({"currency": "CLP", "amount": "5"}, "rate"),
        ({"payee": "x" * 81}, "payee"),
    ],
)
def test_a_bill_that_cannot_be_right_changes_nothing(make, order, as_owner, change, field):
    charge = bill(order)
    answer = as_owner.post(at(make, f"bills/{charge.pk}/came/"), sent(make, **change))
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    charge.refresh_from_db()
    assert (charge.expected, charge.amount) == (True, 2000)


def test_a_bill_over_a_parcel_is_shared_over_lines_of_several_orders(make, order, as_owner):
    other = make.order(make.line(words="Paint", price=D("50.00")), on=make.today - timedelta(30))
    wire, paint = order.lines.first(), other.lines.get()
    page = as_owner.get(at(make, f"orders/{order.number}/bill/")).content.decode()
    assert f'value="{paint.pk}"' in page
    assert "Came in one parcel with other orders" in page
    data = sent(make, kind="handling", basis="value", amount="10.00", line=[wire.pk, paint.pk])
    data["words"] = "Clearance"
    answer = as_owner.post(at(make, f"orders/{order.number}/bill/"), data, follow=True)
    made = Charge.objects.get(kind="handling")
    assert made.order is None
    assert dict(made.shares.values_list("line_id", "home")) == {wire.pk: 600, paint.pk: 400}
    assert (landed(order), landed(other)) == (12600, 5400)
    assert "£126.00 all in" in answer.content.decode()
    there = as_owner.get(at(make, f"orders/{other.number}/")).content.decode()
    assert "its part of 10.00" in there
    assert "£54.00 all in" in there
    as_owner.post(at(make, f"bills/{made.pk}/take-off/?order={other.number}"))
    assert (landed(order), landed(other)) == (12000, 5000)


def test_a_bill_wants_lines_of_orders_that_are_shown(make, order, as_owner):
    theirs = Factory.start("Other Boat", prefix="other-").order().lines.get()
    data = sent(make, kind="duty", basis="value")
    for lines in ([], [theirs.pk], ["x"]):
        answer = as_owner.post(at(make, f"orders/{order.number}/bill/"), {**data, "line": lines})
        assert answer.status_code == 422
        assert "line" in answer.context["form"].errors
    assert Charge.objects.count() == 1


def test_a_bill_by_weight_asks_for_the_weight_that_is_missing(make, as_owner):
    order = make.order(make.line(make.part("Anchor")))
    data = sent(make, kind="freight", basis="weight", line=[order.lines.get().pk])
    answer = as_owner.post(at(make, f"orders/{order.number}/bill/"), data)
    assert answer.status_code == 422
    assert "needs a weight for Anchor" in str(answer.context["form"].errors["basis"])
    assert not Charge.objects.exists()


def test_a_charge_is_corrected_and_what_it_was_stays(make, order, as_owner):
    charge = bill(order)
    data = sent(make, kind="duty", basis="count", amount="12", expected="on", billed_on="")
    answer = as_owner.post(at(make, f"bills/{charge.pk}/change/"), data, follow=True)
    assert landed(order) == 11200
    page = answer.content.decode()
    assert "What was changed" in page
    assert "20.00 GBP expected" in page
    assert "12.00 GBP expected" in page
    assert "−8.00" in page
    assert sorted(charge.shares.values_list("home", flat=True)) == [600, 600]


def test_only_a_tax_is_got_back_and_a_bill_to_come_has_no_date(make, order, as_owner):
    data = sent(make, kind="duty", basis="value", reclaimable="on", expected="on")
    answer = as_owner.post(at(make, f"bills/{bill(order).pk}/change/"), data)
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"reclaimable", "billed_on"}


def test_tax_is_no_cost_only_for_who_can_deduct_it(make, order, as_owner):
    """IAS 2 Inventories, paragraph 11: only tax recoverable from the tax authorities stays out of the cost."""
    page = at(make, f"orders/{order.number}/bill/")
    line = order.lines.first().pk
    tax = sent(make, kind="tax", basis="value", line=[line], amount="10", reclaimable="on")
    assert 'name="reclaimable"' in as_owner.get(page).content.decode()
    as_owner.post(page, tax)
    assert landed(order) == 12000
    as_owner.post(at(make, "boat/"), facts_of(as_owner, make))  # unticked: registered no longer
    make.boat.refresh_from_db()
    assert make.boat.deducts_tax is False
    assert 'name="reclaimable"' not in as_owner.get(page).content.decode()
    as_owner.post(page, tax | {"reference": "second"})
    assert landed(order) == 13000
    # What was deducted while it could be stays so, also when the bill is corrected.
    first = Charge.objects.get(kind="tax", reclaimable=True)
    as_owner.post(
        at(make, f"bills/{first.pk}/change/"),
        sent(make, kind="tax", basis="value", amount="12", reclaimable="on"),
    )
    first.refresh_from_db()
    assert (first.amount, first.effect, landed(order)) == (1200, 0, 13000)


def facts_of(client, make):
    """Return what the boat's own form would send, its ticks taken off."""
    form = client.get(at(make, "boat/")).context["form"]
    return {name: value for name, value in form.initial.items() if value not in (None, True, False)}


def test_the_same_bill_twice_counts_once(make, order, as_owner):
    data = sent(make, kind="freight", basis="value", line=[order.lines.first().pk], form_key="same-key-1")
    for _ in range(2):
        assert as_owner.post(at(make, f"orders/{order.number}/bill/"), data).status_code == 302
    assert Charge.objects.filter(kind="freight").count() == 1


def test_bills_not_come_are_listed_the_oldest_first(make, order, as_viewer):
    young = ChargeFacts("tax", D("7.00"), expected=True)
    newer = make.order(charges=(young,), on=make.today - timedelta(3))
    make.draft(charges=(young,))
    answer = as_viewer.get(at(make, "bills/"))
    assert [(row.charge.number, row.days, row.late) for row in answer.context["rows"]] == [
        (order.number, 40, True),
        (newer.number, 3, False),
    ]
    page = answer.content.decode()
    assert "£27.00 of bills still to come" in page
    assert "1 older than 30 days" in page
    assert "It came" not in page
    book = load_workbook(BytesIO(as_viewer.get(at(make, "bills/?export=xlsx")).content))
    assert [row[6] for row in book.worksheets[0].iter_rows(values_only=True)][1:] == [20, 7]
    for key in ("what", "payee", "order", "-amount", "nonsense"):
        assert as_viewer.get(at(make, f"bills/?sort={key}")).status_code == 200


@pytest.mark.parametrize(("days", "asked"), [(29, False), (30, True)])
def test_today_asks_for_a_bill_after_30_days(make, as_owner, days, asked):
    duty = ChargeFacts("duty", D("20.00"), expected=True)
    make.order(charges=(duty,), on=make.today - timedelta(days))
    assert ("bills not come in 30 days" in as_owner.get(at(make)).content.decode()) == asked


def test_a_long_list_costs_no_more_queries_than_a_short_one(make, as_owner):
    def many(count):
        for _ in range(count):
            make.order(charges=(ChargeFacts("duty", D("2.00"), expected=True, payee=make.supplier()),))

    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(at(make, "bills/")).status_code == 200
        return len(seen)

    many(3)
    few = queries()
    many(30)
    assert queries() == few
    assert few == 7


def test_adding_a_bill_costs_the_same_queries_however_many_orders(make, as_owner, order):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(at(make, f"orders/{order.number}/bill/")).status_code == 200
        return len(seen)

    make.order()
    few = queries()
    for _ in range(10):
        make.order(make.line(make.part()), make.line())
    assert queries() == few


@pytest.mark.parametrize("end", ["came/", "not-come/", "change/", "take-off/"])
def test_who_may_not_is_refused(make, order, as_viewer, as_trade, as_outsider, as_owner, end):
    where = at(make, f"bills/{bill(order).pk}/{end}")
    assert [who.post(where).status_code for who in (as_viewer, as_trade, as_outsider)] == [403, 403, 404]
    theirs = bill(
        Factory.start("Other Boat", prefix="other-").order(
            charges=(ChargeFacts("duty", D(1), expected=True),)
        )
    )
    for pk in (theirs.pk, 999999, HUGE):
        assert as_owner.post(at(make, f"bills/{pk}/{end}")).status_code == 404
    assert as_owner.put(where).status_code == 405


def test_a_charge_of_a_draft_is_changed_with_the_draft(make, as_owner):
    draft = make.draft(charges=(ChargeFacts("duty", D(1), expected=True),))
    assert as_owner.get(at(make, f"bills/{bill(draft).pk}/came/")).status_code == 404
    assert as_owner.get(at(make, f"orders/{draft.number}/bill/")).status_code == 404


def test_names_are_shown_as_typed_and_run_nothing(make, as_owner, order):
    data = sent(make, kind="duty", basis="value", words="<script>x</script>", payee="=1+1‮gnp")
    data["line"] = [line.pk for line in order.lines.all()]
    page = as_owner.post(at(make, f"orders/{order.number}/bill/"), data, follow=True).content.decode()
    assert "<script>x" not in page
    assert "&lt;script&gt;x" in page
