"""Logging an order: the walk, who may, once, without script, what is known."""

import re
from datetime import date
from decimal import Decimal as D

import pytest

from refit.boat.models import FormKey
from refit.buying.actions.orders import change_supplier
from refit.buying.models import Order, OrderState, Payment, Supplier
from refit.stores.actions.parts import add_need, add_number
from refit.stores.models import Holding, Movement, Part
from refit.work.models import Job
from tests.factory import Factory
from tests.pages.order_sent import field, new, page, sent

pytestmark = pytest.mark.usefixtures("clean_ledger")


# --- the walk ---------------------------------------------------------------------------------------------------


def test_an_order_for_a_job_opens_with_its_unmet_parts_and_is_placed_with_two_fields_and_a_press(
    make, as_owner
):
    locker = make.place("S3", name="Pilot berth")
    part = make.part("Impeller", usual_place=locker)
    make.stock(part, locker, 1)
    job = make.job("Raw-water pump")
    add_need(job, part=part, words="", quantity=D(4))
    add_need(job, part=make.part("Gasket"), words="", quantity=D(1))
    make.order(make.line(job.needs.last().part, job=job), expected_on=date(2030, 2, 9))
    html = page(as_owner.get(new(make, f"?job={job.number}")))
    assert "Order for job 1" in html
    assert "Raw-water pump" in html
    assert field(html, "line-0-what") == "Impeller"
    assert field(html, "line-0-packs") == "4"
    assert field(html, "line-0-place") == "S3 Pilot berth"
    assert "line-1-what" not in html  # the gasket is on order: nothing of it is unmet
    assert "You have 1 in" in " ".join(html.split())
    data = {
        name: field(html, name)
        for name in re.findall(r'<input[^>]*name="((?:line|job|currency|form_key)[^"]*)"', html)
    }
    data |= {"do": "order", "supplier": "Harbour Stores", "line-0-each": "12,50"}
    response = as_owner.post(new(make, f"?job={job.number}"), data)
    order = Order.objects.get(supplier__name="Harbour Stores")
    assert response.headers["Location"] == f"/{make.boat.slug}/orders/{order.number}/"
    line = order.lines.get()
    assert (order.state, order.job, order.landed) == (OrderState.ORDERED, job, 5000)
    assert (line.part, line.quantity, line.job, line.system, line.place) == (
        part,
        4,
        job,
        make.system,
        locker,
    )


def test_undo_of_ordered_is_offered_and_leads_to_a_draft(make, as_owner):
    as_owner.post(new(make), sent(make))
    order = Order.objects.get()
    said = [(str(m), m.extra_tags) for m in as_owner.get(new(make)).context["messages"]]
    assert said == [
        (
            f"Order {order.number} from Harbour Stores: ordered.",
            f"/{make.boat.slug}/orders/{order.number}/draft/",
        )
    ]


def test_a_part_from_its_address_is_one_line(make, as_owner):
    part = make.part("Impeller")
    html = page(as_owner.get(new(make, f"?part={part.pk}")))
    assert field(html, "line-0-part") == str(part.pk)
    assert field(html, "line-0-what") == "Impeller"


def test_not_ordered_yet_keeps_a_draft_that_counts_in_nothing(make, as_owner):
    as_owner.post(new(make), sent(make, "keep", line_0_each=""))
    order = Order.objects.get()
    assert order.state == OrderState.DRAFT
    assert not order.lines.get().counted


def test_bought_and_here_orders_books_in_and_pays(make, as_owner):
    locker, part = make.place("S3"), make.part("Impeller")
    data = sent(make, "buy", line_0_part=str(part.pk), line_0_what="Impeller", line_0_place="s3")
    response = as_owner.post(new(make), data)
    order = Order.objects.get()
    assert response.status_code == 302
    assert order.state == OrderState.ARRIVED
    assert Holding.objects.get(part=part, place=locker).quantity == 2
    assert Payment.objects.get().amount == 900
    said = list(as_owner.get(new(make)).context["messages"])
    assert said[0].extra_tags == f"/{make.boat.slug}/orders/{order.number}/unbuy/"


def test_bought_and_here_straight_to_the_job_leaves_nothing_lying(make, as_owner):
    part, job = make.part("Impeller"), make.job("Pump")
    data = sent(
        make,
        "buy",
        job=str(job.number),
        line_0_part=str(part.pk),
        line_0_what="Impeller",
        straight_to_job="on",
    )
    as_owner.post(new(make), data)
    assert not Holding.objects.there().filter(part=part).exists()
    assert Movement.objects.filter(part=part, job=job, reason="used").get().quantity == 2


def test_without_a_place_it_lies_in_not_stowed_yet(make, as_owner):
    part = make.part("Impeller")
    as_owner.post(new(make), sent(make, "buy", line_0_part=str(part.pk), line_0_what="Impeller"))
    assert Holding.objects.get(part=part).place.kind == "unstowed"


# --- who may ----------------------------------------------------------------------------------------------------


def test_an_outsider_finds_nothing(make, as_outsider):
    for address in ("new/", "known/?text=im", "1/change/"):
        assert as_outsider.get(f"/{make.boat.slug}/orders/{address}").status_code == 404


def test_a_viewer_and_a_trade_may_not_order(make, as_viewer, as_trade):
    for client in (as_viewer, as_trade):
        assert client.get(new(make)).status_code == 403
        assert client.post(new(make), sent(make)).status_code == 403
        assert client.post(f"/{make.boat.slug}/orders/totals/", sent(make)).status_code == 403
    assert not Order.objects.exists()


def test_crew_may_order(make, as_crew):
    assert as_crew.post(new(make), sent(make)).status_code == 302


@pytest.mark.parametrize("query", ["?job=77", "?job=x", "?part=99999999999999999999", "?part=77", "?job=-1"])
def test_what_is_not_there_is_not_found(make, as_owner, query):
    assert as_owner.get(new(make, query)).status_code == 404


def test_the_draft_of_a_huge_number_is_not_found(make, as_owner):
    assert as_owner.get(f"/{make.boat.slug}/orders/99999999999999999999/change/").status_code == 404


def test_wrong_methods_are_refused(make, as_owner):
    assert as_owner.get(f"/{make.boat.slug}/orders/totals/").status_code == 405
    assert as_owner.post(f"/{make.boat.slug}/orders/known/").status_code == 405
    assert as_owner.put(new(make)).status_code == 405


def test_another_boats_job_part_place_and_system_are_refused(make, as_owner):
    other = Factory.start("Other", prefix="other-")
    part, job = other.part("Secret pump"), other.job("Their job")
    other.place("Z9")
    assert as_owner.get(new(make, f"?part={part.pk}")).status_code == 404
    assert as_owner.get(new(make, f"?job={job.number}")).status_code == 404
    for wrong in (
        {"line_0_part": str(part.pk), "line_0_what": "Secret pump"},
        {"line_0_place": "Z9"},
        {"system": str(other.system.pk)},
        {"line_0_system": str(other.system.pk)},
        {"line_0_job": str(job.number)},
        {"pick": f"0:{part.pk}", "do": ""},
    ):
        response = as_owner.post(new(make), sent(make, **wrong))
        assert response.status_code in (404, 422), wrong
        assert not Order.objects.filter(boat=make.boat).exists()
    known = as_owner.get(f"/{make.boat.slug}/orders/known/?part={part.pk}")
    assert "Secret" not in page(known)
    assert "Secret" not in page(as_owner.get(f"/{make.boat.slug}/orders/known/?text=Secret"))


def test_another_boats_draft_cannot_be_changed(make, as_owner):
    other = Factory.start("Other", prefix="other-")
    for _ in range(3):
        other.draft()
    assert as_owner.get(f"/{make.boat.slug}/orders/3/change/").status_code == 404
    assert as_owner.post(f"/{make.boat.slug}/orders/totals/", sent(make, order="3")).status_code == 404


# --- once -------------------------------------------------------------------------------------------------------


def test_the_same_form_twice_orders_once_and_says_so(make, as_owner):
    data = sent(make)
    first, second = as_owner.post(new(make), data), as_owner.post(new(make), data)
    assert Order.objects.count() == 1
    assert first.headers["Location"] == second.headers["Location"]
    assert "Already recorded at" in " ".join(str(m) for m in as_owner.get(new(make)).context["messages"])


def test_a_refused_form_leaves_no_key_and_nothing_else(make, as_owner):
    data = sent(make, supplier="Somebody new", currency="SEK", job="Make a hatch", line_0_weight_kg="1")
    response = as_owner.post(new(make), data)  # no rate is published for today
    assert response.status_code == 422
    assert "Type the rate" in page(response)
    counts = [model.objects.count() for model in (Order, Supplier, Job, Part, FormKey)]
    assert counts == [0, 0, 0, 0, 0]


# --- without script ---------------------------------------------------------------------------------------------


def test_the_whole_order_is_made_with_plain_posts(make, as_owner):
    part = make.part("Impeller", usual_place=make.place("S3"))
    make.stock(part, make.place("P1"), 3)
    data = sent(make, "work-out", line_0_what="impel")
    html = page(as_owner.post(new(make), data))
    assert f'name="pick" value="0:{part.pk}"' in html  # what it may be, with where it lies
    assert "3 in" in html
    assert "9.00" in html
    html = page(as_owner.post(new(make), data | {"pick": f"0:{part.pk}", "do": ""}))
    assert field(html, "line-0-part") == str(part.pk)
    assert field(html, "line-0-place") == "S3"
    data |= {"line-0-part": str(part.pk), "line-0-what": "Impeller", "line-0-place": "S3", "do": "add-line"}
    html = page(as_owner.post(new(make), data))
    assert field(html, "line-1-what") == ""
    assert field(html, "line-0-each") == "4.50"
    data |= {"line-1-what": "Grease", "line-1-total": "6", "do": "add-charge"}
    html = page(as_owner.post(new(make), data))
    assert 'name="charge-0-amount"' in html
    data |= {"charge-0-kind": "freight", "charge-0-amount": "3", "charge-0-basis": "value", "do": "work-out"}
    html = page(as_owner.post(new(make), data))
    assert "18.00" in html
    assert not Order.objects.exists()
    assert as_owner.post(new(make), data | {"do": "order"}).status_code == 302
    order = Order.objects.get()
    assert order.landed == 1800
    assert [line.landed for line in order.lines.all()] == [1080, 720]


def test_a_line_is_removed_and_ticks_move_with_their_lines(make, as_owner):
    data = sent(
        make,
        "remove-line-0",
        line_1_what="Second",
        line_1_each="1",
        line_2_what="Third",
        line_2_each="1",
        charge_0_kind="freight",
        charge_0_amount="2",
        charge_0_covers=["0", "2"],
    )
    html = page(as_owner.post(new(make), data))
    assert field(html, "line-0-what") == "Second"
    assert field(html, "line-1-what") == "Third"
    assert "line-2-what" not in html
    ticked = re.findall(r'<input[^>]*name="charge-0-covers"[^>]*checked[^>]*>', html)
    assert len(ticked) == 1
    assert 'value="1"' in ticked[0]


def test_a_known_supplier_brings_currency_and_tax_once(make, as_owner):
    supplier = make.supplier("Lindqvist")
    change_supplier(supplier, currency="SEK", prices_with_tax=False, tax_percent=D(25))
    data = sent(make, "work-out", supplier="lindqvist", rate="13.42")
    html = page(as_owner.post(new(make), data))
    assert field(html, "currency") == "SEK"
    assert field(html, "tax_percent") == "25"
    assert field(html, "habits") == str(supplier.pk)
    # Said otherwise since: it stays as said.
    html = page(as_owner.post(new(make), data | {"habits": str(supplier.pk)}))
    assert field(html, "currency") == "GBP"


def test_the_exact_name_or_number_of_a_part_is_that_part(make, as_owner):
    part = make.part("Impeller")
    add_number(part, kind="maker", number="09-1027")
    as_owner.post(new(make), sent(make, line_0_what="09 1027", line_1_what="IMPELLER", line_1_each="2"))
    assert [line.part for line in Order.objects.get().lines.all()] == [part, None]


def test_other_words_than_the_picked_parts_name_are_words(make, as_owner):
    part = make.part("Impeller")
    as_owner.post(new(make), sent(make, line_0_part=str(part.pk), line_0_what="Impeller of another make"))
    line = Order.objects.get().lines.get()
    assert (line.part, line.words) == (None, "Impeller of another make")


# --- what is known ----------------------------------------------------------------------------------------------


def test_words_show_what_lies_where_what_is_on_order_and_who_wants_it(make, as_owner):
    part = make.part("Impeller, 8-vane")
    make.stock(part, make.place("S3"), 1)
    make.order(make.line(part, packs=D(2)), expected_on=date(2030, 2, 9))
    job = make.job("Pump")
    add_need(job, part=part, words="", quantity=D(1))
    found = " ".join(page(as_owner.get(f"/{make.boat.slug}/orders/known/?text=8vane")).split())
    assert "1 in <span" in found
    assert "2 on order 1, due 9 Feb" in found
    chosen = " ".join(page(as_owner.get(f"/{make.boat.slug}/orders/known/?line-3-part={part.pk}")).split())
    assert "You have 1 in" in chosen
    assert f"Job {job.number} wants 1." in chosen


def test_several_parts_can_be_picked_from(make, as_owner):
    parts = [make.part(f"Hose clip {size} mm") for size in (12, 16, 20)]
    html = page(as_owner.get(f"/{make.boat.slug}/orders/known/?line-4-what=hose cl"))
    assert [f"4:{part.pk}" in html for part in parts] == [True] * 3


@pytest.mark.parametrize(
    "query", ["", "?text=", "?text=a", "?part=x", "?part=99999999999999999999", "?text=%00%00"]
)
def test_nothing_known_is_an_empty_answer(make, as_owner, query):
    response = as_owner.get(f"/{make.boat.slug}/orders/known/{query}")
    assert response.status_code == 200
    assert "pick" not in page(response)
