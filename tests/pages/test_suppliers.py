"""Suppliers: who sells, what they have cost, what is known of them."""

from decimal import Decimal
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.buying.models import Supplier
from tests.factory import Factory

pytestmark = pytest.mark.django_db
D = Decimal
HUGE = 10**30


def page(make, end=""):
    return f"/{make.boat.slug}/suppliers/{end}"


def one(make, supplier):
    return page(make, f"{supplier.pk}/")


def typed(**facts):
    return {
        "name": "Norrvik",
        "currency": "sek",
        "prices": "with",
        "tax_percent": "25",
        "web": "",
        "note": "",
    } | facts


@pytest.fixture
def norrvik(make):
    return make.supplier("Norrvik")


def test_the_list_says_how_many_orders_and_what_they_cost(make, norrvik, as_viewer):
    make.order(make.line(price=D("30")), supplier=norrvik)
    make.order(make.line(price=D("12.50")), supplier=norrvik)
    make.draft(make.line(price=D("99")), supplier=norrvik)
    make.supplier("Anode Shop")
    rows = as_viewer.get(page(make)).context["rows"]
    assert [(row.name, row.counted, row.coming, row.spend) for row in rows] == [
        ("Anode Shop", 0, 0, 0),
        ("Norrvik", 2, 2, 4250),
    ]
    assert "42.50" in as_viewer.get(page(make)).content.decode()
    for sort, first in (
        ("-spend", "Norrvik"),
        ("-name", "Norrvik"),
        ("orders", "Anode Shop"),
        ("-last", None),
    ):
        found = as_viewer.get(page(make, f"?sort={sort}")).context["rows"]
        assert first is None or found[0].name == first


def test_the_list_is_sieved_and_leaves_as_a_file(make, norrvik, as_owner):
    make.supplier("=1+1")
    assert [row.name for row in as_owner.get(page(make, "?find=NORR")).context["rows"]] == ["Norrvik"]
    book = load_workbook(BytesIO(as_owner.get(page(make, "?export=xlsx")).content))
    cells = {cell.value: cell.data_type for row in book.worksheets[0].iter_rows() for cell in row}
    assert cells["=1+1"] == "s"
    assert b"Norrvik" in as_owner.get(page(make, "?export=csv")).content


def test_a_long_list_costs_no_more_queries_than_a_short_one(make, norrvik, as_owner):
    def queries(address):
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(address).status_code == 200
        return len(seen)

    make.order(supplier=norrvik)
    few, few_orders = queries(page(make)), queries(one(make, norrvik))
    for number in range(100):
        make.supplier(f"Chandler {number}")
        make.draft(supplier=norrvik)
    assert queries(page(make)) == few == 5
    assert queries(one(make, norrvik)) == few_orders == 20


def test_one_supplier_shows_its_orders_alone(make, norrvik, as_viewer):
    mine = make.order(make.line(price=D("30")), supplier=norrvik)
    make.order(make.line(price=D("7")))
    response = as_viewer.get(one(make, norrvik))
    assert [row.order for row in response.context["rows"]] == [mine]
    text = response.content.decode()
    assert "£30.00 in 1 order" in text
    assert ">Change<" not in text


def test_what_is_known_of_a_supplier_is_changed(make, norrvik, as_crew):
    data = typed(
        name="Norrvik Marin", prices="without", web="norrvik.example/shop", note="Ask for the stores"
    )
    response = as_crew.post(one(make, norrvik), data, follow=True)
    assert "Changed Norrvik Marin." in response.content.decode()
    norrvik.refresh_from_db()
    assert (norrvik.name, norrvik.currency, norrvik.prices_with_tax) == ("Norrvik Marin", "SEK", False)
    assert (norrvik.tax_percent, norrvik.web) == (D("25"), "https://norrvik.example/shop")
    assert 'href="https://norrvik.example/shop"' in as_crew.get(one(make, norrvik)).content.decode()


@pytest.mark.parametrize(
    "facts",
    [
        {"name": ""},
        {"name": "x" * 81},
        {"name": "x" * 100_000},
        {"name": "Anode Shop"},
        {"name": "ANODE  SHOP"},
        {"currency": "ZZZ"},
        {"currency": "XAU"},
        {"tax_percent": "-1"},
        {"tax_percent": "101"},
        {"tax_percent": "1e1"},
        {"prices": "maybe"},
        {"web": "javascript:alert(1)"},
        {"web": "not an address"},
        {"note": "x" * 301},
    ],
)
def test_what_cannot_be_right_changes_nothing(make, norrvik, as_owner, facts):
    make.supplier("Anode Shop")
    response = as_owner.post(one(make, norrvik), typed(**facts))
    assert response.status_code == 422
    assert '<div class="wrong"' in response.content.decode()
    norrvik.refresh_from_db()
    assert (norrvik.name, norrvik.currency) == ("Norrvik", "")


def test_the_same_form_twice_acts_once(make, norrvik, as_owner):
    data = typed(note="first") | {"form_key": "same"}
    as_owner.post(one(make, norrvik), data)
    response = as_owner.post(one(make, norrvik), data, follow=True)
    assert "Already recorded at" in response.content.decode()


def test_who_may(make, norrvik, as_owner, as_viewer, as_trade, as_outsider):
    for client, seen, changed in ((as_viewer, 200, 403), (as_trade, 403, 403), (as_outsider, 404, 404)):
        assert client.get(page(make)).status_code == seen
        assert client.get(one(make, norrvik)).status_code == seen
        assert client.post(one(make, norrvik), typed(name="Theirs now")).status_code == changed
    assert as_owner.post(page(make)).status_code == 405
    assert Supplier.objects.get(pk=norrvik.pk).name == "Norrvik"


def test_another_boats_supplier_and_odd_numbers_are_not_found(make, as_owner):
    theirs = Factory.start(name="Other Boat", prefix="other-").supplier("Theirs")
    for pk in (theirs.pk, 0, 999_999, HUGE):
        assert as_owner.get(page(make, f"{pk}/")).status_code == 404
        assert as_owner.post(page(make, f"{pk}/"), typed()).status_code == 404
    theirs.refresh_from_db()
    assert theirs.name == "Theirs"


def test_names_run_nothing_and_only_a_web_address_is_a_link(make, as_owner):
    supplier = make.supplier("<script>alert(1)</script>‮", web="javascript:alert(1)", note="<b>")
    for address in (page(make), one(make, supplier)):
        text = as_owner.get(address).content.decode()
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert(1)" in text
        assert 'href="javascript' not in text
