"""The buy list, the town run and chasing as pages: they work, and refuse the wrong person, id, method and form."""

import re
from datetime import timedelta
from html import unescape
from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.buying.actions import chasing, offers, town
from refit.buying.actions.offers import OfferFacts
from refit.buying.models import Delivery, Line, Order, Promise
from refit.stores.models import Holding, Need
from tests.factory import D, Factory
from tests.pictures import picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
HUGE = 10**30


def page(make: Factory, end: str = "") -> str:
    return f"/{make.boat.slug}/buy/{end}"


def said(response) -> str:
    """Return what a page says, without the marks inside its sentences."""
    text = re.sub(r"</?(?:bdi|b|a|span)\b[^>]*>", "", response.content.decode())
    return " ".join(unescape(text).split())


def need(make: Factory, part=None, quantity=1, days=5, **facts) -> Need:
    wanted_by = make.today + timedelta(days=days)
    return Need.objects.create(
        boat=make.boat, job=make.job(), part=part, quantity=D(quantity), wanted_by=wanted_by, **facts
    )


def ask(make: Factory, part, supplier, price="10", days=1):
    facts = OfferFacts(supplier, D(price), "GBP", make.today, lead_days=days)
    return offers.add_offer(part, facts, today=make.today)


@pytest.fixture
def bolt(make):
    """A part that a job wants, and two who sell it."""
    part = make.part("Bolt", specification="M8 × 40")
    ask(make, part, make.supplier("Fastenings"), "2.50")
    ask(make, part, make.supplier("Chandlers"), "3.00")
    need(make, part, 2, must_fit="the stud on the port side")
    return part


# --- the list ---------------------------------------------------------------------------------------------------------


def test_the_list_says_what_for_which_job_from_whom_and_by_when(make, bolt, as_viewer):
    text = said(as_viewer.get(page(make)))
    for words in (
        "1 to order this week",
        "Bolt",
        "for 1 Job",
        "Fastenings",
        "£5.00",
        "must fit the stud",
    ):
        assert words in text
    assert "Make the order" not in text


def test_an_empty_list_says_what_to_do_first(make, as_owner):
    assert "Say on a job which parts it wants" in said(as_owner.get(page(make)))


def test_by_supplier_rows_that_may_wait_fill_the_order(make, as_owner):
    shop = make.supplier("Free above", free_freight_from=4000, usual_freight=500)
    for name, days in (("Now", 4), ("Later", 90)):
        part = make.part(name)
        ask(make, part, shop, "20")
        need(make, part, days=days)
    text = said(as_owner.get(page(make, "?by=supplier")))
    assert "£20.00 of goods to order now; £20.00 more and carriage is free. Add these" in text
    rows = as_owner.get(page(make, f"?by=supplier&tick=s{shop.pk}")).context["groups"][0][0].rows
    assert [(row.row.what, row.ticked) for row in rows] == [("Now", True), ("Later", True)]


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("?horizon=7", ["Bolt"]),
        ("?horizon=30", ["Bolt"]),
        ("?horizon=99", []),
        ("?job=0", []),
        ("?system=x", []),
        (f"?supplier={HUGE}", []),
        ("?supplier=\x00", []),
        ("?page=99999&sort=x", ["Bolt"]),
        ("?tick=now", ["Bolt"]),
        ("?tick=s&by=supplier", ["Bolt"]),
    ],
)
def test_it_is_narrowed_and_nonsense_narrows_to_nothing(make, bolt, as_owner, query, shown):
    response = as_owner.get(page(make, query))
    assert response.status_code == 200
    rows = [row.row.what for group, _ in response.context["groups"] for row in group.rows]
    assert rows == shown


def test_it_is_narrowed_to_a_job_a_system_and_a_supplier(make, bolt, as_owner):
    job = Need.objects.get().job
    other = make.job(system=make.other_system)
    seller = offers.Offer.objects.first().supplier
    for query, count in (
        (f"job={job.pk}", 1),
        (f"job={other.pk}", 0),
        (f"system={make.system.pk}", 1),
        (f"system={make.other_system.pk}", 0),
        (f"supplier={seller.pk}", 1),
        (f"supplier={make.supplier().pk}", 0),
    ):
        assert len(as_owner.get(page(make, f"?{query}")).context["groups"]) == count


def test_ticking_makes_orders_and_undo_throws_them_away(make, bolt, as_crew):
    dear = offers.Offer.objects.get(price=D(3))
    wanted = need(make, None, words="=Oak, 2 m")
    yard = make.supplier("Timber yard")
    keys = {"row": [f"p{bolt.pk}", f"n{wanted.pk}"], f"from-p{bolt.pk}": f"o{dear.pk}", "supplier": yard.pk}
    response = as_crew.post(page(make, "make/"), keys, follow=True)
    assert "Made orders 1, 2: 2 lines, not ordered yet. Some have no price yet." in said(response)
    assert [(o.supplier.name, o.state) for o in Order.objects.order_by("number")] == [
        ("Chandlers", "draft"),
        ("Timber yard", "draft"),
    ]
    for words in ("2 orders made, not ordered yet", "1 Chandlers", "2 Timber yard"):
        assert words in said(response)
    as_crew.post(page(make, "made/1-2/away/"))
    assert Order.objects.count() == 0


def test_one_order_leads_to_its_page_and_the_same_form_acts_once(make, bolt, as_owner):
    data = {"row": f"p{bolt.pk}", "form_key": "same"}
    for _ in range(2):
        response = as_owner.post(page(make, "make/"), data, follow=True)
    assert response.request["PATH_INFO"] == f"/{make.boat.slug}/orders/1/"
    assert "Already recorded at" in said(response)
    assert Order.objects.count() == 1


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"row": "p0"},
        {"row": "bolt"},
        {"row": "p1\x00"},
        {"row": "p" + "9" * 5000},
        {"row": [f"p{number}" for number in range(1000, 1300)]},
        {"row": "{bolt}", "from-{bolt}": "o999999"},
        {"row": "{bolt}", "from-{bolt}": "nobody"},
        {"row": "{bolt}", "supplier": "999999"},
        {"row": "{bolt}", "supplier": "x"},
    ],
)
def test_what_cannot_be_ordered_changes_nothing(make, bolt, as_owner, data):
    key = f"p{bolt.pk}"
    sent = {
        name.replace("{bolt}", key): value.replace("{bolt}", key) if isinstance(value, str) else value
        for name, value in data.items()
    }
    response = as_owner.post(page(make, "make/"), sent)
    assert response.status_code == 422
    assert "Not saved" in said(response)
    assert Order.objects.count() == 0


def test_what_was_ticked_and_chosen_stays_on_a_form_that_comes_back(make, bolt, as_owner):
    dear = offers.Offer.objects.get(price=D(3))
    wanted = need(make, None, words="Oak")
    keys = {"row": [f"p{bolt.pk}", f"n{wanted.pk}"], f"from-p{bolt.pk}": f"o{dear.pk}"}
    response = as_owner.post(page(make, "make/"), keys)
    assert response.status_code == 422
    assert "Who sells Oak?" in said(response)
    html = response.content.decode()
    assert f'value="p{bolt.pk}" checked' in html
    assert f'value="o{dear.pk}" selected' in html


def test_the_list_leaves_as_a_file(make, bolt, as_owner):
    need(make, None, words="=1+1")
    sheet = load_workbook(BytesIO(as_owner.get(page(make, "?export=xlsx")).content)).worksheets[0]
    cells = {cell.value: cell for row in sheet.iter_rows() for cell in row}
    assert (cells["Bolt"].data_type, cells["=1+1"].data_type) == ("s", "s")
    assert b"Bolt" in as_owner.get(page(make, "?export=csv")).content


def test_pages_cost_the_same_number_of_queries_however_much(make, bolt, as_owner):
    def queries(end: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(page(make, end)).status_code == 200
        return len(seen)

    shop = make.supplier("Shop", is_shop=True)

    def more() -> None:
        part = make.part(is_spare=True, minimum=D(1))
        ask(make, part, shop, "1")
        ask(make, part, make.supplier(), "2")
        need(make, part)
        need(make, None, words="In words")
        make.draft(make.line(make.part()), supplier=shop)
        order = make.order(on=make.today - timedelta(days=3))
        chasing.promise(order, None, said_on=make.today, by=make.owner, today=make.today)

    more()
    pages = ("", "?by=supplier", "town/", "chase/")
    few = [queries(end) for end in pages]
    for _ in range(5):
        more()
    assert [queries(end) for end in pages] == few
    assert max(few) <= 45


# --- the town run -----------------------------------------------------------------------------------------------------


@pytest.fixture
def shop(make, bolt):
    """A shop that sells the part best."""
    found = make.supplier("Hardware", is_shop=True, note="Shut on Mondays")
    ask(make, bolt, found, "0.50", days=0)
    return found


def test_one_tap_buys_without_script_and_the_message_undoes_it(make, bolt, shop, as_crew):
    text = said(as_crew.get(page(make, "town/")))
    for words in ("1 thing to bring", "Hardware", "Shut on Mondays", "M8 × 40", "must fit", "£0.50"):
        assert words in text
    data = {"item": f"p{bolt.pk}", "shop": shop.pk, "form_key": "same"}
    for _ in range(2):
        response = as_crew.post(page(make, "town/bought/"), data, follow=True)
    assert "Already recorded" in said(response)
    assert "Snap the receipt" in said(response)
    assert Holding.objects.get(part=bolt).quantity == 2
    delivery = Delivery.objects.get()
    as_crew.post(page(make, f"town/bought/{delivery.pk}/back/"))
    assert (Order.objects.count(), Holding.objects.there().count()) == (0, 0)


def test_a_row_is_put_on_a_shops_list_and_bought_from_it(make, bolt, as_crew):
    shop = make.supplier("Corner shop", is_shop=True)
    wanted = need(make, None, words="Masking tape")
    as_crew.post(page(make, "town/list/"), {"item": f"n{wanted.pk}", "shop": shop.pk})
    line = Line.objects.get()
    assert (line.order.state, line.need) == ("draft", wanted)
    as_crew.post(page(make, f"town/list/{line.pk}/off/"))
    assert Order.objects.count() == 0
    as_crew.post(page(make, "town/list/"), {"item": f"n{wanted.pk}", "shop": shop.pk})
    line = Line.objects.get()
    data = {"item": f"l{line.pk}", "shop": shop.pk, "price": "3,50", "quantity": "2"}
    response = as_crew.post(page(make, "town/bought/"), data, follow=True)
    assert "Bought at Corner shop: 2 × Masking tape" in said(response)
    assert (Line.objects.get().amount, Order.objects.get().state) == (700, "arrived")


def test_the_receipt_lands_on_todays_order(make, bolt, shop, as_crew):
    town.buy_in_town(make.boat, shop, key=f"p{bolt.pk}", by=make.crew, today=make.today)
    photo = SimpleUploadedFile("receipt.jpg", picture(), "image/jpeg")
    as_crew.post(f"/{make.boat.slug}/orders/1/papers/", {"papers": photo, "kind": "receipt"})
    assert Order.objects.get().order_papers.get().paper.kind == "receipt"


@pytest.mark.parametrize(
    "facts",
    [
        {"item": ""},
        {"item": "p0"},
        {"item": "x1"},
        {"item": "l999999"},
        {"item": "p" + "9" * 19},
        {"shop": ""},
        {"shop": "999999"},
        {"quantity": "0"},
        {"quantity": "-1"},
        {"quantity": "1e3"},
        {"quantity": "9999999"},
        {"price": "-1"},
        {"price": "999999999999"},
        {"system": "999999"},
    ],
)
def test_what_cannot_have_been_bought_changes_nothing(make, bolt, shop, as_owner, facts):
    data = {"item": f"p{bolt.pk}", "shop": shop.pk} | facts
    response = as_owner.post(page(make, "town/bought/"), data)
    assert response.status_code == 422
    assert Order.objects.count() == 0


def test_the_town_run_is_printed(make, bolt, shop, as_viewer):
    response = as_viewer.get(page(make, "town.pdf"))
    assert (response["Content-Type"], response.content[:5]) == ("application/pdf", b"%PDF-")


# --- chasing ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def late(make):
    """An order whose day has passed."""
    day = make.today - timedelta(days=3)
    return make.order(on=make.today - timedelta(days=20), expected_on=day)


def promise(make: Factory, number: int, end: str = "") -> str:
    return f"/{make.boat.slug}/orders/{number}/{end}"


def test_what_they_say_is_kept_and_taken_back(make, late, as_crew):
    assert "3 days late" in said(as_crew.get(page(make, "chase/")))
    day, again = make.today + timedelta(days=9), make.today + timedelta(days=7)
    data = {"day": day, "who": "Desk", "said_on": make.today, "chase_on": again, "form_key": "same"}
    for _ in range(2):
        response = as_crew.post(promise(make, late.number, "promise/"), data, follow=True)
    assert "Already recorded" in said(response)
    late.refresh_from_db()
    made = Promise.objects.get(who="Desk")
    assert (late.expected_on, late.chase_on, Promise.objects.count()) == (day, again, 2)
    text = said(as_crew.get(promise(make, late.number)))
    assert f"for {day:%-d %b %Y}, Desk, said" in text
    as_crew.post(promise(make, late.number, f"promise/{made.pk}/back/"))
    late.refresh_from_db()
    assert (late.expected_on, late.chase_on) == (make.today - timedelta(days=3), None)


def test_they_dont_know(make, late, as_owner):
    data = {"unknown": "on", "said_on": make.today, "chase_on": make.today + timedelta(days=2)}
    response = as_owner.post(promise(make, late.number, "promise/"), data, follow=True)
    assert "Order 1: they don’t know" in said(response)
    assert "Ask again later" in said(response)
    late.refresh_from_db()
    assert late.expected_on is None


@pytest.mark.parametrize(
    "facts",
    [
        {},
        {"day": "2099-99-99"},
        {"day": "0001-01-01"},
        {"day": "2400-01-01"},
        {"day": "tomorrow-ish", "unknown": "on"},
        {"unknown": "on", "said_on": ""},
        {"unknown": "on", "said_on": "2099-01-01"},
        {"unknown": "on", "chase_on": "2001-01-01"},
        {"unknown": "on", "who": "x" * 81},
        {"unknown": "on", "note": "x" * 201},
    ],
)
def test_what_cannot_have_been_said_changes_nothing(make, late, as_owner, facts):
    data = {"said_on": make.today} | facts
    response = as_owner.post(promise(make, late.number, "promise/"), data)
    assert response.status_code == 422
    assert Promise.objects.count() == 0


def test_days_to_mind_are_kept_and_undone(make, late, as_owner):
    data = {"chase_on": make.today, "return_by": make.today + timedelta(days=30), "claim_by": ""}
    response = as_owner.post(promise(make, late.number, "days/"), data, follow=True)
    assert "May go back until" in said(response)
    late.refresh_from_db()
    assert (late.chase_on, late.return_by) == (data["chase_on"], data["return_by"])
    undo = next(
        tag.split('"')[1]
        for tag in response.content.decode().split("action=")
        if "/days/?" in tag or "/days/" in tag
    )
    as_owner.post(undo)
    late.refresh_from_db()
    assert (late.chase_on, late.return_by) == (None, None)
    wrong = {"chase_on": "2001-01-01"}
    assert as_owner.post(promise(make, late.number, "days/"), wrong).status_code == 422


def test_chasing_leaves_as_a_file_and_says_when_there_is_nothing(make, as_owner, late):
    assert b"Supplier" in as_owner.get(page(make, "chase/?export=csv")).content
    Order.objects.update(state="cancelled")
    assert "Nobody to ask today" in said(as_owner.get(page(make, "chase/")))
    Order.objects.update(state="ordered")


# --- who may ----------------------------------------------------------------------------------------------------------


def test_who_may_and_how(make, bolt, shop, late, as_viewer, as_trade, as_outsider, as_owner):
    made = town.buy_in_town(make.boat, shop, key=f"p{bolt.pk}", by=make.owner, today=make.today)
    made_promise = chasing.promise(late, None, said_on=make.today, by=make.owner, today=make.today)
    seen = ("", "town/", "town.pdf", "chase/")
    done = (
        page(make, "make/"),
        page(make, "made/1/away/"),
        page(make, "town/bought/"),
        page(make, f"town/bought/{made.pk}/back/"),
        page(make, "town/list/"),
        page(make, "town/list/1/off/"),
        promise(make, late.number, "promise/"),
        promise(make, late.number, f"promise/{made_promise.pk}/back/"),
        promise(make, late.number, "days/"),
    )
    before = (Order.objects.count(), Promise.objects.count(), Line.objects.count())
    for client, sees, changes in ((as_viewer, 200, 403), (as_trade, 403, 403), (as_outsider, 404, 404)):
        assert {client.get(page(make, end)).status_code for end in seen} == {sees}
        assert {client.post(where).status_code for where in done} == {changes}
    assert {as_owner.get(where).status_code for where in done} == {405}
    assert {as_owner.post(page(make, end)).status_code for end in seen} == {405}
    assert (Order.objects.count(), Promise.objects.count(), Line.objects.count()) == before


def test_what_is_not_there_is_not_found(make, late, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    theirs = chasing.promise(other.order(), None, said_on=make.today, by=other.owner, today=make.today)
    for end in (
        "made/999/away/",
        "made/x/away/",
        "made/1-/away/",
        "town/bought/999/back/",
        "town/list/9/off/",
    ):
        assert as_owner.post(page(make, end)).status_code == 404
    for end in (f"promise/{theirs.pk}/back/", f"promise/{HUGE}/back/"):
        assert as_owner.post(promise(make, late.number, end)).status_code == 404
    assert as_owner.post(promise(make, 999, "promise/")).status_code == 404
