"""Logging an order: drafts changed, rows pasted."""

from datetime import date
from decimal import Decimal as D

import pytest

from refit.buying.models import Order, OrderState
from refit.stores.actions.parts import add_need, add_number
from tests.factory import Factory
from tests.pages.order_sent import LAST_OF_JUNE, field, new, page, sent, shown_fields

pytestmark = pytest.mark.usefixtures("clean_ledger")


# --- drafts -----------------------------------------------------------------------------------------------------


def draft_of(make: Factory, client, **fields) -> Order:
    client.post(new(make), sent(make, "keep", **fields))
    return Order.objects.get()


def facts(order: Order) -> list:
    lines = order.lines.values_list(
        "part",
        "words",
        "packs",
        "pack_size",
        "priced_by",
        "unit_price",
        "amount",
        "job",
        "system",
        "place",
        "landed",
    )
    charges = order.charges.values_list(
        "kind",
        "amount",
        "currency",
        "rate",
        "basis",
        "over_all",
        "reclaimable",
        "in_prices",
        "expected",
        "payee",
        "effect",
    )
    head = [order.supplier_id, order.currency, order.rate, order.rate_source, order.rate_on, order.reference]
    return [
        *head,
        order.charged,
        order.prices_with_tax,
        order.tax_percent,
        order.job_id,
        order.landed,
        *lines,
        *charges,
    ]


def test_a_draft_sent_back_as_shown_stays_as_it_was(make, as_owner):
    job, part = make.job("Pump"), make.part("Rope", unit="m", usual_place=make.place("S3"))
    order = draft_of(
        make,
        as_owner,
        currency="SEK",
        ordered_on=LAST_OF_JUNE,
        reference="A-1",
        job=str(job.number),
        prices="without",
        tax_percent="25",
        line_0_part=str(part.pk),
        line_0_what="Rope",
        line_0_pack_size="50",
        line_0_place="S3",
        line_1_what="Splicing",
        line_1_total="100",
        line_1_service="on",
        line_1_system=str(make.other_system.pk),
        charge_0_kind="tax",
        charge_0_amount="11",
        charge_0_currency="EUR",
        charge_0_words="Import tax",
        charge_0_reclaimable="on",
        charge_0_expected="on",
        charge_1_kind="freight",
        charge_1_amount="9",
        charge_1_covers=["0"],
        charge_1_payee="Courier",
    )
    before = facts(order)
    address = f"/{make.boat.slug}/orders/{order.number}/change/"
    data = shown_fields(page(as_owner.get(address))) | {"do": "keep"}
    assert as_owner.post(address, data).status_code == 302
    order.refresh_from_db()
    assert facts(order) == before
    assert order.rate_source == "ecb"


def test_a_stored_rate_stays_until_the_day_or_the_currency_changes(make, as_owner):
    order = draft_of(make, as_owner, currency="SEK", ordered_on=LAST_OF_JUNE)
    Order.objects.filter(pk=order.pk).update(rate=D("13.00000001"))  # as if other rates had been shipped then
    address = f"/{make.boat.slug}/orders/{order.number}/change/"
    data = shown_fields(page(as_owner.get(address))) | {"do": "keep"}
    as_owner.post(address, data | {"reference": "B-2"})
    order.refresh_from_db()
    assert (order.rate, order.rate_source, order.reference) == (D("13.00000001"), "ecb", "B-2")
    as_owner.post(address, data | {"ordered_on": "2024-06-27"})
    order.refresh_from_db()
    assert order.rate_on == date(2024, 6, 27)
    assert order.rate != D("13.00000001")
    Order.objects.filter(pk=order.pk).update(rate=D("13"), rate_source="typed", rate_on=None)
    as_owner.post(address, data | {"rate": "13", "ordered_on": "2024-06-27", "currency": "EUR"})
    order.refresh_from_db()
    assert (order.currency, order.rate_source) == ("EUR", "ecb")


def test_emptying_the_rate_looks_it_up(make, as_owner):
    order = draft_of(make, as_owner, currency="SEK", ordered_on=LAST_OF_JUNE, rate="13")
    assert order.rate_source == "typed"
    address = f"/{make.boat.slug}/orders/{order.number}/change/"
    as_owner.post(address, shown_fields(page(as_owner.get(address))) | {"do": "keep", "rate": ""})
    order.refresh_from_db()
    assert (order.rate_source, order.rate_on) == ("ecb", date(2024, 6, 28))


def test_a_draft_is_ordered_or_bought_as_the_same_order(make, as_owner):
    order = draft_of(make, as_owner)
    address = f"/{make.boat.slug}/orders/{order.number}/change/"
    data = shown_fields(page(as_owner.get(address)))
    data |= {"line-0-system": str(make.system.pk), "do": "buy"}
    assert as_owner.post(address, data).status_code == 302
    order.refresh_from_db()
    assert (Order.objects.count(), order.state) == (1, OrderState.ARRIVED)


def test_a_placed_order_is_not_changed_here(make, as_owner):
    order = make.order()
    address = f"/{make.boat.slug}/orders/{order.number}/change/"
    assert as_owner.get(address).headers["Location"] == f"/{make.boat.slug}/orders/{order.number}/"
    response = as_owner.post(address, sent(make))
    assert response.status_code == 422
    assert "was placed" in page(response)
    assert order.lines.get().words == "Bits and pieces"


# --- pasted rows ------------------------------------------------------------------------------------------------


def test_pasted_rows_become_lines_with_their_parts(make, as_owner):
    part = make.part("Impeller, 8-vane", usual_place=make.place("S3"))
    add_number(part, kind="maker", number="09-1027")
    text = "Qty\tPart no\tDescription\tPrice\n2\t091027\tSome impeller\t412,00\n5\tHC-12\tHose clip\t9,50\n\tTotal\t\t871,50"
    data = sent(make, "paste", paste=text, line_0_what="", line_0_each="")
    html = page(as_owner.post(new(make), data))
    assert field(html, "line-0-part") == str(part.pk)
    assert field(html, "line-0-place") == "S3"
    assert field(html, "line-1-what") == "Hose clip (HC-12)"
    assert field(html, "line-1-packs") == "5"
    assert field(html, "line-1-each") == "9.50"
    assert "Left out of what was pasted" in html
    assert as_owner.post(new(make), shown_fields(html) | {"do": "order"}).status_code == 302
    assert Order.objects.get().landed == 2 * 41200 + 5 * 950


def test_a_pasted_price_goes_to_the_line_that_waits_for_the_part(make, as_owner):
    part, job = make.part("Impeller"), make.job("Pump")
    add_number(part, kind="maker", number="09-1027")
    add_need(job, part=part, words="", quantity=D(1))
    shown = shown_fields(page(as_owner.get(new(make, f"?job={job.number}"))))
    data = shown | {"do": "paste", "paste": "2\t09-1027\tSome impeller\t412,00\n1\tX-9\tHose\t5,00"}
    html = page(as_owner.post(new(make, f"?job={job.number}"), data))
    assert (field(html, "line-0-what"), field(html, "line-0-packs")) == ("Impeller", "2")
    assert field(html, "line-0-each") == "412.00"
    assert field(html, "line-1-what") == "Hose (X-9)"
    assert "line-2-what" not in html


def test_nothing_pasted_says_so_beside_the_box(make, as_owner):
    response = as_owner.post(new(make), sent(make, "paste", paste="  "))
    assert response.context["form"].errors.as_data()["paste"][0].code == "empty"
