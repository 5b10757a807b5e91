"""Sold, given and bartered: outside what was ordered, shown under it, and a sheet of its own in the workbook."""

import re
from datetime import date
from html import unescape
from io import BytesIO

import pandas as pd
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.buying.actions import disposals, payments, refunds
from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.payments import Split
from refit.buying.actions.refunds import Refund
from refit.buying.models import Disposal
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
HUGE = 10**30
SHEETS = ("By system", "By job", "By supplier", "By month")


def page(make: Factory, end: str = "") -> str:
    return f"/{make.boat.slug}/sold/{end}"


def said(response) -> str:
    return " ".join(unescape(response.content.decode()).split())


def typed(make: Factory, **facts) -> dict:
    return {
        "kind": "sold",
        "what": "Old winch",
        "part": "",
        "system": make.system.pk,
        "happened_on": make.today.isoformat(),
        "amount": "125",
        "buyer": "Neighbour",
        "note": "",
    } | facts


def sell(make: Factory, what: str = "Old winch", **facts) -> Disposal:
    values = {"kind": "sold", "system": make.system, "on": make.today, "amount": 12500} | facts
    return disposals.add_disposal(make.boat, what=what, by=make.owner, today=make.today, **values)


def workbook(client, make: Factory, query: str = "") -> dict[str, pd.DataFrame]:
    content = client.get(f"/{make.boat.slug}/spend.xlsx{query}").content
    return pd.read_excel(BytesIO(content), sheet_name=None, dtype={"Month": str, "Order": str})


def test_old_gear_is_written_down_and_taken_back_from_the_message(make, as_crew):
    response = as_crew.post(page(make, "new/"), typed(make), follow=True)
    assert "Sold: Old winch, 125.00 GBP." in said(response)
    assert "£125.00 got for old gear" in said(response)
    found = Disposal.objects.get()
    assert (found.amount, found.buyer, found.system) == (12500, "Neighbour", make.system)
    undo = page(make, f"{found.pk}/back/")
    assert f'action="{undo}"' in response.content.decode()
    as_crew.post(undo)
    assert Disposal.objects.count() == 0


def test_a_gift_brings_nothing(make, as_owner):
    as_owner.post(page(make, "new/"), typed(make, kind="given", amount=""))
    assert Disposal.objects.get().amount == 0
    response = as_owner.post(page(make, "new/"), typed(make, kind="given", amount="5"))
    assert response.status_code == 422
    assert "What was given away brought nothing" in said(response)


def test_a_part_may_be_named_by_the_address(make, as_owner):
    part = make.part("Bilge pump", system=make.other_system)
    form = as_owner.get(page(make, f"new/?part={part.pk}")).context["form"]
    assert (form["what"].value(), form["part"].value()) == ("Bilge pump", part.pk)
    as_owner.post(page(make, "new/"), typed(make, part=part.pk))
    assert Disposal.objects.get().part == part
    for asked in ("999999", HUGE, "9" * 5000):
        assert as_owner.get(page(make, f"new/?part={asked}")).status_code == 404


@pytest.mark.parametrize(
    "facts",
    [
        {"kind": "burnt"},
        {"what": ""},
        {"what": "x" * 121},
        {"system": ""},
        {"system": "999999"},
        {"happened_on": ""},
        {"happened_on": "2099-01-01"},
        {"amount": "-1"},
        {"amount": "1e3"},
        {"amount": "999999999999"},
        {"part": "999999"},
        {"buyer": "x" * 81},
        {"note": "x" * 301},
    ],
)
def test_what_cannot_be_right_changes_nothing(make, as_owner, facts):
    response = as_owner.post(page(make, "new/"), typed(make, **facts))
    assert response.status_code == 422
    assert Disposal.objects.count() == 0


def test_another_boats_system_part_and_disposal_are_not_found(make, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    theirs = sell(other)
    for facts in ({"system": other.system.pk}, {"part": other.part().pk}):
        assert as_owner.post(page(make, "new/"), typed(make, **facts)).status_code == 422
    for pk in (theirs.pk, 0, HUGE):
        assert as_owner.post(page(make, f"{pk}/back/")).status_code == 404
    assert "Old winch" not in said(as_owner.get(page(make)))
    assert Disposal.objects.get() == theirs


def test_the_same_form_twice_acts_once(make, as_owner):
    for _ in range(2):
        response = as_owner.post(page(make, "new/"), typed(make, form_key="same"), follow=True)
    assert "Already recorded at" in said(response)
    assert Disposal.objects.count() == 1


def test_an_undo_sent_twice_acts_once(make, as_owner):
    """The button of the list and the Undo of a message carry a key too; what is no key of ours is no fault."""
    response = as_owner.post(page(make, "new/"), typed(make), follow=True)
    forms = re.findall(r"<form method=.post. (?:action=.[^ ]+/back/.|id=.back.)>.*?</form>", said(response))
    assert len(forms) == 2
    assert all('name="form_key"' in form for form in forms)
    found = Disposal.objects.get()
    assert as_owner.post(page(make, f"{found.pk}/back/"), {"form_key": "\x00"}).status_code == 302
    assert Disposal.objects.count() == 0


def test_who_may(make, as_viewer, as_trade, as_outsider, as_owner):
    found = sell(make)
    for client, sees, changes in ((as_viewer, 200, 403), (as_trade, 403, 403), (as_outsider, 404, 404)):
        assert client.get(page(make)).status_code == sees
        assert client.get(page(make, "new/")).status_code == changes
        assert client.post(page(make, "new/"), typed(make)).status_code == changes
        assert client.post(page(make, f"{found.pk}/back/")).status_code == changes
    assert as_owner.post(page(make)).status_code == 405
    assert as_owner.get(page(make, f"{found.pk}/back/")).status_code == 405
    assert Disposal.objects.get() == found


def test_the_list_is_sieved_sorted_and_leaves_as_a_file(make, as_owner):
    winch = sell(make)
    mast = sell(make, "=1+1", system=make.other_system, kind="barter", amount=50000, buyer="Yard")
    for query, expected in (
        ("", [mast, winch]),
        ("?sort=amount", [winch, mast]),
        ("?kind=barter", [mast]),
        (f"?system={make.system.pk}", [winch]),
        ("?find=yard", [mast]),
    ):
        assert as_owner.get(page(make, query)).context["rows"] == expected, query
    book = load_workbook(BytesIO(as_owner.get(page(make, "?export=xlsx")).content))
    cells = {cell.value: cell.data_type for row in book.worksheets[0].iter_rows() for cell in row}
    assert cells["=1+1"] == "s"


def test_a_long_list_costs_no_more_queries_than_a_short_one(make, as_owner):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            as_owner.get(page(make))
        return len(seen)

    for _ in range(10):
        sell(make)
    few = queries()
    for _ in range(100):
        sell(make)
    assert queries() == few == 8


def test_names_run_nothing(make, as_owner):
    sell(make, "<script>alert(1)</script>\u202e", buyer="<script>alert(1)</script>")
    text = as_owner.get(page(make)).content.decode()
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)" in text


# --- under spend --------------------------------------------------------------------------------------------------


def test_it_stands_under_spend_and_hides_no_overrun(make, as_viewer):
    make.order(make.line(price=D("100")))
    sell(make)
    text = said(as_viewer.get(f"/{make.boat.slug}/spend/"))
    assert "£100.00 spent or ordered" in text
    assert "£125.00</a>. It stands outside what was ordered." in text


def test_gifts_and_second_hand_stand_beside_it_for_the_insurer(make, as_viewer):
    order = make.order(make.line(words="Sextant", price=D(0)), make.line(words="Old anchor", price=D("90")))
    order.lines.filter(words="Sextant").update(gift_value=40000)
    order.lines.filter(words="Old anchor").update(second_hand=True)
    sell(make)
    text = said(as_viewer.get(page(make)))
    assert "gifts are worth £400.00 and cost nothing" in text
    assert "Old anchor" in text
    sheet = workbook(as_viewer, make)["Sold and given"]
    assert sheet["Got for it"].tolist() == [125.0, 0.0, 0.0, 125.0]
    assert sheet["Worth"].tolist() == [0.0, 400.0, 90.0, 490.0]
    assert sheet["What became of it"].tolist()[:3] == ["Sold", "Came as a gift", "Bought second-hand"]


def test_a_filter_narrows_the_sheet_too(make, as_viewer):
    sell(make, on=date(2026, 1, 5))
    sell(make, "Mast", system=make.other_system, on=date(2026, 2, 5))
    for query, expected in (
        ("", ["Old winch", "Mast"]),
        (f"?system={make.system.pk}", ["Old winch"]),
        ("?since=2026-02-01", ["Mast"]),
        ("?job=none", []),
    ):
        assert workbook(as_viewer, make, query)["Sold and given"]["Description"].dropna().tolist() == expected


def test_a_refund_is_a_row_of_its_own_and_all_five_sheets_agree(make, as_viewer):
    order = make.order(
        make.line(words="Pump", price=D("60")),
        make.line(words="Hose", price=D("40"), system=make.other_system),
        charges=(ChargeFacts("freight", D(10)),),
        on=date(2026, 1, 10),
    )
    pump = order.lines.get(words="Pump")
    book_in(make.boat, [Arrival(pump, D(1))], by=make.owner, on=date(2026, 1, 20), today=make.today)
    payments.pay(make.boat, [Split(11000, order=order)], on=date(2026, 2, 1), today=make.today, by=make.owner)
    for kind, amount, day, lines in (
        ("goods", D("60"), date(2026, 3, 5), [pump]),
        ("freight", D("10"), date(2026, 4, 5), list(order.lines.all())),
        ("tax", D("5"), None, list(order.lines.all())),  # only applied for: in no sum
    ):
        applied = None if day else make.today
        refund = Refund(kind, amount, "GBP", came_on=day, applied_on=applied)
        refunds.add_refund(order, lines, refund, by=make.owner, today=make.today)
    read = workbook(as_viewer, make)
    proof = read["Lines"].iloc[:-1].astype({"Date": "datetime64[ns]"})
    assert read["Lines"].iloc[-1]["Landed"] == 40.0
    for sheet in SHEETS:
        rows, total = read[sheet].iloc[:-1], read[sheet].iloc[-1]
        assert round(rows["Ordered"].sum(), 2) == total["Ordered"] == 40.0, sheet
        assert round(rows["Paid"].sum(), 2) == total["Paid"] == 40.0, sheet
        assert round(rows["Delivered"].sum(), 2) == total["Delivered"], sheet
    # By another route: pandas groups the lines, refunds among them, and must meet the sheets.
    months = proof.assign(Month=proof["Date"].dt.strftime("%Y-%m")).groupby("Month")["Landed"].sum().round(2)
    by_month = read["By month"].iloc[:-1].set_index("Month")["Ordered"].round(2)
    assert by_month[by_month != 0].to_dict() == months.to_dict()
    assert months.to_dict() == {"2026-01": 110.0, "2026-03": -60.0, "2026-04": -10.0}
    systems = proof.groupby("System")["Landed"].sum().round(2).to_dict()
    assert read["By system"].iloc[:-1].set_index("System")["Ordered"].round(2).to_dict() == systems
    back = proof[proof["State"] == "refund"]
    assert back["Landed"].round(2).sum() == -70.0
    assert back[back["Date"] == "2026-03-05"]["Goods"].tolist() == [-60.0]
    freight = back[back["Date"] == "2026-04-05"]
    assert (freight["Goods"].sum(), round(freight["Charges"].sum(), 2)) == (0, -10.0)
    assert freight["Description"].tolist() == ["Freight: Pump", "Freight: Hose"]
    assert back["Quantity"].isna().all()
