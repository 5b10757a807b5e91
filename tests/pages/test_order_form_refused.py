"""Logging an order: bad input changes nothing; how much work a page is."""

from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.boat.models import FormKey
from refit.buying.models import Order, OrderState, Supplier
from refit.stores.actions.parts import add_need
from refit.stores.models import Part
from refit.work.models import Job
from tests.pages.order_sent import LAST_OF_JUNE, new, page, sent, shown_fields

pytestmark = pytest.mark.usefixtures("clean_ledger")


# --- bad input --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "where", "code"),
    [
        ({"line_0_packs": "-2"}, "line-0-packs", "too_small"),
        ({"line_0_packs": "0"}, "line-0-packs", "too_small"),
        ({"line_0_packs": "two"}, "line-0-packs", "not_a_number"),
        ({"line_0_packs": "1e3"}, "line-0-packs", "not_a_number"),
        ({"line_0_packs": "1000000"}, "line-0-packs", "too_large"),
        ({"line_0_packs": "9999", "line_0_pack_size": "9999"}, "line-0-packs", "too_large"),
        ({"line_0_packs": "0.001", "line_0_pack_size": "0.5"}, "line-0-pack_size", "places"),
        ({"line_0_each": "-1"}, "line-0-each", "too_small"),
        ({"line_0_each": "free"}, "line-0-each", "not_a_number"),
        ({"line_0_each": ""}, "line-0-each", "no_price"),
        ({"line_0_each": "99999999999999"}, "line-0-each", "too_large"),
        ({"line_0_each": "9999999999", "line_0_packs": "999999"}, "line-0-each", "too_large"),
        (
            {"line_0_each": "", "line_0_total": "9999999999", "line_0_packs": "0.001"},
            "line-0-total",
            "too_large",
        ),
        ({"line_0_total": "9.01"}, "line-0-total", "prices_differ"),
        ({"line_0_what": "x" * 100_000}, "line-0-what", "max_length"),
        ({"line_0_what": "a\0b"}, "line-0-what", "nul"),
        ({"line_0_what": ""}, "line-0-what", "nothing"),
        ({"line_0_what": "", "line_0_each": ""}, "line-0-what", "no_lines"),
        ({"line_0_place": "nowhere"}, "line-0-place", "no_place"),
        ({"line_0_part": "x"}, "line-0-what", "no_part"),
        ({"line_0_part": "99999999999999999999"}, "line-0-what", "no_part"),
        ({"line_0_part": "-1"}, "line-0-what", "no_part"),
        ({"line_0_system": "x"}, "line-0-system", "no_system"),
        ({"line_0_job": "Not there"}, "line-0-job", "no_job"),
        ({"line_0_weight_kg": "-1"}, "line-0-weight_kg", "too_small"),
        ({"supplier": ""}, "supplier", "nothing"),
        ({"supplier": "x" * 100_000}, "supplier", "max_length"),
        ({"currency": "XXZ"}, "currency", "currency"),
        ({"currency": "XAU"}, "currency", "currency"),
        ({"currency": "EUR"}, "rate", "no_rate"),
        ({"currency": "KWD", "ordered_on": LAST_OF_JUNE}, "rate", "no_rate"),
        ({"currency": "EUR", "rate": "0"}, "rate", "too_small"),
        ({"currency": "EUR", "rate": "-1.2"}, "rate", "too_small"),
        ({"currency": "EUR", "charged": "0"}, "charged", "charged"),
        ({"ordered_on": "20226-01-01"}, "ordered_on", "out_of_range"),
        ({"ordered_on": "2090-01-01"}, "ordered_on", "future"),
        ({"ordered_on": "0001-01-01"}, "ordered_on", "out_of_range"),
        ({"ordered_on": "soon"}, "ordered_on", "not_a_day"),
        ({"expected_on": "20226-01-01"}, "expected_on", "out_of_range"),
        ({"tax_percent": "101"}, "tax_percent", "too_large"),
        ({"tax_reclaimable": "on"}, "tax_percent", "nothing"),
        ({"prices": "maybe"}, "prices", "invalid_choice"),
        ({"means": "shells"}, "means", "invalid_choice"),
        ({"system": "999999"}, "system", "no_system"),
        ({"note": "x" * 501}, "note", "max_length"),
        ({"charge_0_amount": "-1"}, "charge-0-amount", "too_small"),
        ({"charge_0_amount": "99999999999"}, "charge-0-amount", "too_large"),
        ({"charge_0_expected": "on"}, "charge-0-amount", "nothing"),
        ({"charge_0_amount": "1", "charge_0_kind": "bribe"}, "charge-0-kind", "invalid_choice"),
        ({"charge_0_amount": "1", "charge_0_basis": "luck"}, "charge-0-basis", "invalid_choice"),
        ({"charge_0_amount": "1", "charge_0_currency": "XXZ"}, "charge-0-currency", "currency"),
        ({"charge_0_amount": "1", "charge_0_currency": "EUR"}, "charge-0-rate", "no_rate"),
        ({"charge_0_amount": "1", "charge_0_covers": ["7"]}, None, None),
        ({"charge_0_amount": "1", "charge_0_reclaimable": "on"}, "charge-0-reclaimable", "tax_only"),
        ({"charge_0_amount": "5", "charge_0_basis": "weight"}, "line-0-weight_kg", "missing_weight"),
    ],
)
def test_bad_input_is_refused_beside_its_field_and_changes_nothing(make, as_owner, wrong, where, code):
    data = sent(make, **wrong)
    response = as_owner.post(new(make), data)
    if where is None:  # a tick for a line that is not there falls away with it
        assert response.status_code == 302
        return
    assert response.status_code == 422
    found = {
        form.add_prefix(name): [error.code for error in errors]
        for form in response.context["sheet"].forms
        for name, errors in form.errors.as_data().items()
    }
    assert found == {where: [code]}
    assert f'href="#id_{where}"' in page(response)
    assert not Order.objects.exists()
    assert not Supplier.objects.exists()
    assert not FormKey.objects.exists()


def test_nothing_that_was_typed_is_lost(make, as_owner):
    data = sent(
        make,
        supplier="Smith & Sons",
        currency="XXZ",
        reference="R-7",
        note="By the gate",
        line_0_place="nowhere",
        line_0_pack_size="ten",
        line_1_what="Second",
        line_1_total="oops",
        charge_0_kind="duty",
        charge_0_amount="dear",
        charge_0_payee="Courier",
        charge_0_expected="on",
    )
    shown = shown_fields(page(as_owner.post(new(make), data)))
    lost = {
        name: value
        for name, value in data.items()
        if name not in ("do", "form_key") and shown.get(name) != [value.replace("&", "&amp;")]
    }
    assert lost == {}


def test_two_hundred_lines_are_taken_and_one_more_is_refused(make, as_owner):
    lines = {
        f"line-{n}-{name}": text
        for n in range(1, 200)
        for name, text in (("what", f"Thing {n}"), ("each", "1"))
    }
    refused = as_owner.post(
        new(make), sent(make) | lines | {"line-200-what": "Too many", "line-200-each": "1"}
    )
    assert refused.status_code == 422
    assert "At most 200 lines" in page(refused)
    assert as_owner.post(new(make), sent(make) | lines).status_code == 302
    assert Order.objects.get().landed == 900 + 199 * 100


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", "=1+1", "\u05d0\u05d1\u05d2 \u0627\u0644", "'\"><b>"]
)
def test_names_are_shown_as_they_are_and_never_run(make, as_owner, name):
    part = make.part(name, specification=name)
    make.supplier(name)
    make.stock(part, make.place("S3", name=name), 1)
    job = make.job(name)
    add_need(job, part=part, words="", quantity=D(1))
    for response in (
        as_owner.get(new(make, f"?job={job.number}")),
        as_owner.post(new(make), sent(make, "work-out", line_0_what=name)),
        as_owner.get(f"/{make.boat.slug}/orders/known/", {"text": name}),
        as_owner.post(f"/{make.boat.slug}/orders/totals/", sent(make, line_0_what=name)),
    ):
        html = page(response)
        assert "<script>alert" not in html
        assert "<b>'" not in html
        assert '"><b>' not in html
    data = sent(make, line_0_part=str(part.pk), line_0_what=name, supplier=name)
    assert as_owner.post(new(make), data).status_code == 302
    assert Order.objects.get().lines.get().part == part


def test_what_is_sent_besides_changes_nothing(make, as_owner):
    data = sent(make, line_0_landed="1", boat="7", state="arrived", made_by="9", line_x_what="no")
    as_owner.post(new(make), data | {"line-99999-what": "far"})
    order = Order.objects.get()
    assert (order.landed, order.boat, order.made_by, order.state) == (
        900,
        make.boat,
        make.owner,
        OrderState.ORDERED,
    )


# --- how much work it is ----------------------------------------------------------------------------------------


def test_the_page_asks_the_database_as_much_for_many_parts_and_places_as_for_few(make, as_owner):
    part = make.part("Impeller 0")
    job = make.job("Pump")
    add_need(job, part=part, words="", quantity=D(1))
    add_need(job, part=make.part("Impeller extra"), words="", quantity=D(1))
    with CaptureQueriesContext(
        connection,
    ) as few:
        as_owner.get(new(make, f"?job={job.number}"))
    for number in range(1, 60):
        make.part(f"Impeller {number}")
        make.place(f"S{number}")
        make.supplier(f"Supplier {number}")
        add_need(make.job(f"Job {number}"), part=part, words="", quantity=D(1))
    make.stock(part, make.place("X1"), 1)
    with CaptureQueriesContext(connection) as many:
        as_owner.get(new(make, f"?job={job.number}"))
    assert len(many) == len(few)
    assert len(many) <= 20
    with CaptureQueriesContext(connection) as asked:
        as_owner.get(f"/{make.boat.slug}/orders/known/?text=Impeller")
    assert len(asked) <= 9


def test_a_get_and_the_totals_write_nothing(make, as_owner):
    as_owner.get(new(make))
    data = sent(make, supplier="New one", job="New job of ours", line_0_weight_kg="2")
    shown = as_owner.post(f"/{make.boat.slug}/orders/totals/", data)
    assert shown.context["totals"].landed == 900
    assert "New one is a new supplier." in page(shown)
    counts = [model.objects.count() for model in (Order, Supplier, Job, Part, FormKey)]
    assert counts == [0, 0, 0, 0, 0]
