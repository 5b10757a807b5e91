"""The spend page, its lines and its workbook: works, wrong person, wrong address, wrong filter, same queries."""

import re
from datetime import date
from html import unescape
from io import BytesIO

import openpyxl
import pandas as pd
import pytest
from django.db import connection

from refit.boat.actions.boats import set_budget
from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.actions.payments import Split, pay
from refit.buying.models import Line
from tests.buying.test_spend import season
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
PAGE, LINES, FILE = "/test-boat/spend/", "/test-boat/spend/lines/", "/test-boat/spend.xlsx"
SHEETS = {"By system": "System", "By job": "Job", "By supplier": "Supplier", "By month": "Month"}


def text_of(response) -> str:
    """Return what a person reads: the page without its tags."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def buy(make: Factory):
    """One order of 120.00 for a job on the engine and 30.00 of the yard without a job; half of the first came."""
    job = make.job("Replace the impeller")
    place = make.place("S3")
    part = make.part("Impeller", numbers=[("maker", "09-1027", "")])
    order = make.order(
        make.line(part, packs=D(4), price=D("30"), job=job, place=place),
        make.line(words="Lift", price=D("30"), system=make.other_system),
        supplier=make.supplier("Penryn Chandlers"),
        on=date(2026, 3, 9),
    )
    line = order.lines.order_by("position").first()
    book_in(make.boat, [Arrival(line, D(2), place)], by=make.owner, on=date(2026, 4, 1), today=make.today)
    split = Split(15000, order=order)
    pay(make.boat, [split], on=date(2026, 4, 2), today=make.today, by=make.owner)
    set_budget(make.system, 10000, on=date(2026, 1, 1), by=make.owner)
    return order, job


def test_a_number_first_then_the_table_that_proves_it(make, as_viewer):
    buy(make)
    said = text_of(as_viewer.get(PAGE))
    assert "£150.00 spent or ordered" in said
    assert "of £100.00 budgeted · ends near £150.00, over by £50.00 · £60.00 of it has arrived" in said
    assert "Engine 100.00 120.00 60.00 0.00 120.00 over 20.00" in said
    assert "The boat, without yard, tools and papers 100.00 120.00 60.00 0.00 120.00 over 20.00" in said
    assert "All systems 100.00 150.00 60.00 0.00 150.00 over 50.00" in said


@pytest.mark.parametrize(
    ("by", "row"),
    [
        ("job", "1 Replace the impeller 120.00 60.00 120.00"),
        ("job", "No job 30.00 0.00 30.00"),
        ("supplier", "Penryn Chandlers 150.00 60.00 150.00"),
        ("month", "March 2026 150.00 0.00 0.00"),
        ("month", "April 2026 0.00 60.00 150.00"),
    ],
)
def test_the_same_money_by_job_supplier_and_month(make, as_viewer, by, row):
    buy(make)
    said = text_of(as_viewer.get(PAGE, {"by": by}))
    assert row in said
    assert "All 150.00 60.00 150.00" in said


def test_an_unknown_tab_is_the_first_one(make, as_viewer):
    buy(make)
    assert "All systems" in text_of(as_viewer.get(PAGE, {"by": "'; drop table"}))


def test_a_click_goes_down_to_the_lines_and_on_to_the_order(make, as_viewer):
    order, _ = buy(make)
    page = as_viewer.get(PAGE, {"since": "2026-01-01"})
    go = re.search(r'href="([^"]+)"><bdi>Engine</bdi>', page.content.decode())[1]
    below = as_viewer.get(unescape(go))
    said = text_of(below)
    assert "£120.00 in 1 line" in said
    assert "ordered from 1 Jan 2026, system Engine" in said
    assert f'href="/test-boat/orders/{order.number}/"' in below.content.decode()
    assert "Lift" not in said


@pytest.mark.parametrize(
    ("filters", "total"),
    [
        ({"job": "1"}, "£120.00"),
        ({"job": "none"}, "£30.00"),
        ({"group": "900"}, "£30.00"),
        ({"until": "2026-03-08"}, "£0.00"),
        ({"since": "9 Mar 2026", "until": "9/3/2026"}, "£150.00"),
    ],
)
def test_filters_narrow_the_page_and_the_file_alike(make, as_viewer, filters, total):
    buy(make)
    assert f"{total} spent or ordered" in text_of(as_viewer.get(PAGE, filters))
    book = openpyxl.load_workbook(BytesIO(as_viewer.get(FILE, filters).content))
    ordered = list(book["By system"].iter_rows(values_only=True))[-1][3]
    assert f"£{ordered:,.2f}" == total


def test_a_narrowed_page_does_not_set_some_lines_against_a_whole_budget(make, as_viewer):
    buy(make)
    said = text_of(as_viewer.get(PAGE, {"job": "1"}))
    assert "budgeted" not in said
    assert "over" not in said.replace("Show all", "").split("Cost all in")[0].split("System Ordered")[1]


@pytest.mark.parametrize(
    "filters",
    [
        {"job": "99"},
        {"system": "99999999999999999999"},
        {"supplier": "x"},
        {"group": "150"},
        {"since": "2026-02-30"},
        {"since": "20226-01-01"},
        {"since": "2026-05-01", "until": "2026-04-01"},
        {"job": "\x00"},
    ],
)
@pytest.mark.parametrize("address", [PAGE, LINES, FILE])
def test_a_filter_that_cannot_be_read_says_so_and_shows_no_money(make, as_viewer, address, filters):
    buy(make)
    response = as_viewer.get(address, filters)
    assert response.status_code == 422
    assert "This filter can't be used" in text_of(response)
    assert "150.00" not in text_of(response)


def test_another_boats_systems_jobs_and_suppliers_are_no_filter_here(make, as_viewer):
    other = Factory.start(name="Other", prefix="other-")
    order = other.order(other.line())
    for filters in ({"system": other.system.pk}, {"supplier": order.supplier_id}):
        assert as_viewer.get(PAGE, filters).status_code == 422


@pytest.mark.parametrize("address", [PAGE, LINES, FILE])
def test_who_may_see_money(make, as_owner, as_crew, as_viewer, as_trade, as_outsider, client, address):
    for one in (as_owner, as_crew, as_viewer):
        assert one.get(address).status_code == 200
    assert as_trade.get(address).status_code == 403
    assert as_outsider.get(address).status_code == 404
    assert client.get(address).status_code == 302
    assert as_owner.post(address).status_code == 405


def test_empty_pages_say_what_to_do_first(make, as_viewer):
    make.boat.systems.all().delete()
    assert "No systems yet" in text_of(as_viewer.get(PAGE))
    assert "Nothing ordered yet" in text_of(as_viewer.get(PAGE, {"by": "job"}))
    assert "No lines within this filter" in text_of(as_viewer.get(LINES))


def test_the_workbook_read_back_by_pandas_agrees_with_sums_by_another_route(make, as_viewer):
    """pandas reads the file; SQL sums the orders and payments, past everything under test."""
    season(make, 5, orders=25)
    response = as_viewer.get(FILE)
    assert response["Content-Disposition"].startswith('attachment; filename="test-boat-spend-')
    with connection.cursor() as cursor:
        cursor.execute(
            "select sum(landed), sum(delivered) from buying_order where state in ('ordered', 'part', 'arrived')"
        )
        ordered, delivered = (int(total) for total in cursor.fetchone())
        cursor.execute(
            "select sum(s.amount) from buying_paymentsplit s join buying_order o on o.id = s.order_id"
            " where o.state in ('ordered', 'part', 'arrived')"
        )
        paid = int(cursor.fetchone()[0])
        cursor.execute("select sum(landed) from buying_order where state = 'draft'")
        drafts = int(cursor.fetchone()[0])
    for sheet, heading in SHEETS.items():
        table = pd.read_excel(BytesIO(response.content), sheet_name=sheet, dtype={heading: str})
        rows, total = table.iloc[:-1], table.iloc[-1]
        assert total[heading] == "Total"
        for column, want in (("Ordered", ordered), ("Delivered", delivered), ("Paid", paid)):
            assert round(rows[column].sum() * 100) == want
            assert round(total[column] * 100) == want
    lines = pd.read_excel(BytesIO(response.content), sheet_name="Lines").iloc[:-1]
    assert round(lines["Landed"].sum() * 100) == ordered
    assert round((lines["Goods"] + lines["Charges"]).sum() * 100) == ordered
    assert len(lines) == Line.objects.filter(counted=True).count()
    systems = pd.read_excel(BytesIO(response.content), "By system")
    # No job of this season wants anything, so what is still to buy is what stands on drafts.
    assert systems["Still to buy"].iloc[-1] == drafts / 100
    assert systems["Still to buy"].iloc[:-1].sum().round(2) == drafts / 100
    assert (
        systems["Forecast"].round(2).tolist()
        == (systems["Ordered"] + systems["Still to buy"]).round(2).tolist()
    )


def test_over_or_under_is_ordered_less_budget(make, as_viewer):
    buy(make)
    table = pd.read_excel(BytesIO(as_viewer.get(FILE).content), sheet_name="By system").set_index("System")
    assert table.loc["Engine", "Over or under"] == 20
    assert table.loc["Yard", "Over or under"] == 30
    assert table.loc["Total", ["Budget", "Ordered", "Over or under"]].tolist() == [100, 150, 50]


def test_a_line_of_the_workbook(make, as_viewer):
    order, _ = buy(make)
    table = pd.read_excel(
        BytesIO(as_viewer.get(FILE).content), sheet_name="Lines", dtype={"Part number": str, "Order": str}
    )
    assert table.iloc[0].to_dict() == {
        "Date": pd.Timestamp(2026, 3, 9),
        "Order": str(order.number),
        "Supplier": "Penryn Chandlers",
        "System": "Engine",
        "Job": "1 Replace the impeller",
        "Part number": "09-1027",
        "Description": "Impeller",
        "Quantity": 4,
        "Unit": "each",
        "Currency": "GBP",
        "Unit price": 30,
        "Goods": 120,
        "Charges": 0,
        "Landed": 120,
        "State": "part arrived",
        "Locker": "S3",
    }
    assert table.iloc[1]["Job"] == "no job"


def test_unit_price_is_that_of_the_unit_beside_it(make, as_viewer):
    """A coil of 100 m at 95.00 is 0.95 a metre: quantity times price gives the goods."""
    rope = make.part("Braid, 12 mm", unit="m")
    make.order(make.line(rope, packs=D(1), pack_size=D(100), price=D("95")))
    row = pd.read_excel(BytesIO(as_viewer.get(FILE).content), sheet_name="Lines").iloc[0]
    assert (row["Quantity"], row["Unit"], row["Unit price"], row["Goods"]) == (100, "m", 0.95, 95)


def test_names_that_would_run_or_deceive_stay_words(make, as_viewer):
    evil = "<script>alert(1)</script>"
    make.order(make.line(words="=1+1", job=make.job(evil)), supplier=make.supplier("\u202eevil"))
    for address in (PAGE, f"{PAGE}?by=job", f"{PAGE}?by=supplier", LINES):
        page = as_viewer.get(address).content.decode()
        assert evil not in page
    assert "<bdi>=1+1</bdi>" in as_viewer.get(LINES).content.decode()
    book = openpyxl.load_workbook(BytesIO(as_viewer.get(FILE).content))
    cell = next(c for row in book["Lines"].iter_rows() for c in row if c.value == "=1+1")
    assert cell.data_type == "s"


@pytest.mark.parametrize(
    ("address", "queries"),
    [(PAGE, 33), (f"{PAGE}?by=job", 19), (f"{PAGE}?by=month", 18), (LINES, 15), (FILE, 35)],
)
def test_the_same_queries_with_10_and_150_lines(make, as_viewer, django_assert_num_queries, address, queries):
    part = make.part()
    make.order(*[make.line(part, job=make.job()) for _ in range(10)])
    with django_assert_num_queries(queries):
        as_viewer.get(address)
    for _ in range(7):
        make.order(*[make.line(make.part(), job=make.job()) for _ in range(20)])
    with django_assert_num_queries(queries):
        assert as_viewer.get(address).status_code == 200


def test_the_lines_are_paged_and_keep_their_filter(make, as_viewer):
    for _ in range(6):
        make.order(*[make.line() for _ in range(10)])
    page = as_viewer.get(LINES, {"system": make.system.pk})
    assert "1 to 50 of 60" in text_of(page)
    assert f"?system={make.system.pk}&amp;page=2" in page.content.decode()
    assert "51 to 60 of 60" in text_of(as_viewer.get(LINES, {"system": make.system.pk, "page": "2"}))
