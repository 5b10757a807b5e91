import random
import time
from collections import defaultdict
from dataclasses import replace
from datetime import date
from decimal import Decimal
from io import BytesIO

import openpyxl
import pandas as pd
import pytest

from refit.reports.spend import (
    GivenRow,
    JobRow,
    LineRow,
    MoneyRow,
    MonthRow,
    SpendReport,
    SupplierRow,
    SystemRow,
    spend_workbook,
)
from tests.reports.test_workbook import PAYLOADS

AS_AT = date(2026, 3, 3)
IDENTITY = ("Kittiwake of Mylor", "official number 401 227")
MONEY = ["Ordered", "Delivered", "Paid", "Still to buy", "Forecast"]
HEADINGS = {
    "By system": ["System", "Group", "Budget", *MONEY, "Over or under"],
    "By job": ["Job", *MONEY],
    "By supplier": ["Supplier", *MONEY],
    "By month": ["Month", "Ordered", "Delivered", "Paid"],
    "Lines": [
        *("Date", "Order", "Supplier", "System", "Job", "Part number", "Description", "Quantity", "Unit"),
        *("Currency", "Unit price", "Goods", "Charges", "Landed", "State", "Locker"),
    ],
    "Sold and given": [
        *("Date", "What became of it", "Description", "Part number", "System", "To or from whom"),
        *("Got for it", "Worth", "Note"),
    ],
}


def given(**changes) -> GivenRow:
    values = {
        "date": date(2026, 2, 1),
        "how": "Sold",
        "what": "Old winch",
        "part_number": "00045",
        "system": "Rig and sails",
        "whom": "=1+1",
        "got": 12500,
        "worth": 0,
        "note": "",
    }
    return GivenRow(**{**values, **changes})


def line(**changes) -> LineRow:
    values = {
        "date": date(2026, 1, 14),
        "order": "17",
        "supplier": "Penryn Chandlers",
        "system": "Rig and sails",
        "job": "12 Re-rig the mizzen",
        "part_number": "00123",
        "description": "Toggle, 8 mm",
        "quantity": Decimal(4),
        "unit": "each",
        "currency": "EUR",
        "unit_price": Decimal("11.250000"),
        "goods": 3825,
        "landed": 4410,
        "state": "arrived",
        "locker": "S3",
    }
    return LineRow(**{**values, **changes})


def report(lines=(), *, currency="GBP", filters="") -> SpendReport:
    """Add the lines up by each view, as the page above does."""
    sums = {view: defaultdict(int) for view in ("system", "job", "supplier", "month")}
    for row in lines:
        for view, key in (
            ("system", row.system),
            ("job", row.job),
            ("supplier", row.supplier),
            ("month", f"{row.date:%Y-%m}"),
        ):
            sums[view][key] += row.landed
    return SpendReport(
        identity=IDENTITY,
        currency=currency,
        as_at=AS_AT,
        systems=[
            SystemRow(name, "Hull", None, MoneyRow(ordered=total), total)
            for name, total in sums["system"].items()
        ],
        jobs=[JobRow(name, MoneyRow(ordered=total)) for name, total in sums["job"].items()],
        suppliers=[SupplierRow(name, MoneyRow(ordered=total)) for name, total in sums["supplier"].items()],
        months=[MonthRow(name, ordered=total) for name, total in sums["month"].items()],
        lines=list(lines),
        filters=filters,
    )


def many(count: int) -> list[LineRow]:
    pick = random.Random(1790)
    return [
        line(
            date=date(2025, 1 + at % 12, 1 + at % 28),
            order=str(at // 5 + 1),
            system=f"System {pick.randrange(24)}",
            job=pick.choice([None, "12 Mast", "13 Rudder", "14 Chain"]),
            supplier=f"Supplier {pick.randrange(9)}",
            goods=pick.randrange(-2000, 90_000),
            landed=pick.randrange(-2000, 99_000),
        )
        for at in range(count)
    ]


def opened(data: bytes):
    return openpyxl.load_workbook(BytesIO(data))


def frames(data: bytes) -> dict[str, pd.DataFrame]:
    return pd.read_excel(BytesIO(data), sheet_name=None, keep_default_na=False, na_values=[""])


def test_sheets_and_headings_are_the_promised_ones():
    book = opened(spend_workbook(report([line()])))
    assert book.sheetnames == list(HEADINGS)
    for name, headings in HEADINGS.items():
        assert [cell.value for cell in book[name][1]] == headings


@pytest.mark.parametrize("count", [0, 1, 40])
def test_the_last_row_of_each_sheet_is_its_total(count):
    lines = many(count)
    book = opened(spend_workbook(report(lines)))
    expected = Decimal(sum(row.landed for row in lines)) / 100
    for name in HEADINGS:
        page = book[name]
        last = {heading: cell.value for heading, cell in zip(HEADINGS[name], page[page.max_row], strict=True)}
        assert last[HEADINGS[name][0]] == "Total"
        want = 0 if name == "Sold and given" else float(expected)
        assert last.get("Ordered", last.get("Landed", last.get("Got for it"))) == pytest.approx(want)
    assert book["Lines"].max_row == count + 2


def test_pandas_adds_every_view_up_to_the_same_total():
    lines = many(300)
    read = frames(spend_workbook(report(lines)))
    whole = Decimal(sum(row.landed for row in lines)) / 100
    for name in ("By system", "By job", "By supplier", "By month"):
        rows = read[name].iloc[:-1]
        assert round(rows["Ordered"].sum(), 2) == float(whole), name
        assert read[name]["Ordered"].iloc[-1] == float(whole), name
    proof = read["Lines"].iloc[:-1]
    # by another route: pandas groups the lines and must meet the sheets
    for name, key in (("By system", "System"), ("By job", "Job"), ("By supplier", "Supplier")):
        mine = read[name].iloc[:-1].set_index(key)["Ordered"]
        theirs = proof.groupby(key)["Landed"].sum().round(2)
        assert mine.round(2).to_dict() == theirs.to_dict(), name
    by_month = proof.groupby(pd.to_datetime(proof["Date"]).dt.strftime("%Y-%m"))["Landed"].sum().round(2)
    assert read["By month"].iloc[:-1].set_index("Month")["Ordered"].round(2).to_dict() == by_month.to_dict()
    assert (proof["Goods"] + proof["Charges"] - proof["Landed"]).abs().max() < 0.005


def test_money_is_never_blank_and_text_stays_text():
    book = opened(spend_workbook(report([line(job=None)])))
    system = book["By system"]
    assert [cell.value for cell in system[2]] == ["Rig and sails", "Hull", 0, 44.1, 0, 0, 0, 0, 44.1]
    assert book["By job"]["A2"].value == "no job"
    lines = {heading: cell for heading, cell in zip(HEADINGS["Lines"], book["Lines"][2], strict=True)}
    assert lines["Part number"].value == "00123"
    assert lines["Order"].data_type == "s"
    assert lines["Job"].value == "no job"
    assert book["By month"]["A2"].value == "2026-01"
    assert book["By month"]["A2"].data_type == "s"


def test_charges_are_landed_less_goods_and_a_refund_is_negative():
    refund = line(goods=-1000, landed=-1250, quantity=Decimal(-1), state="refund")
    page = opened(spend_workbook(report([line(), refund])))["Lines"]
    columns = {heading: at for at, heading in enumerate(HEADINGS["Lines"], 1)}
    charges = [page.cell(row, columns["Charges"]).value for row in (2, 3, 4)]
    assert charges == [5.85, -2.5, 3.35]
    assert page.cell(3, columns["Landed"]).value == -12.5
    assert page.cell(3, columns["Quantity"]).value == -1


@pytest.mark.parametrize(
    ("currency", "shape", "value"),
    # ISO 4217 list one (2024-06-25): JPY has no minor digits, KWD three.
    [("JPY", "#,##0", 4410), ("KWD", "#,##0.000", 4.41), ("GBP", "#,##0.00", 44.1)],
)
def test_money_is_in_the_boats_currency_and_the_unit_price_in_the_orders(currency, shape, value):
    page = opened(
        spend_workbook(report([line(currency="JPY", unit_price=Decimal("1200.00"))], currency=currency))
    )["Lines"]
    columns = {heading: at for at, heading in enumerate(HEADINGS["Lines"], 1)}
    landed, price = page.cell(2, columns["Landed"]), page.cell(2, columns["Unit price"])
    assert landed.value == value
    assert landed.number_format.endswith(shape)
    assert (price.value, price.number_format) == (1200, "#,##0")


def test_nothing_in_the_workbook_would_run():
    fields = ("order", "supplier", "system", "job", "part_number", "description", "unit", "state", "locker")
    lines = [line(**{field: payload}) for payload in PAYLOADS for field in fields]
    book = opened(spend_workbook(report(lines, filters="=1+1")))
    kinds = {cell.data_type for page in book for row in page.iter_rows() for cell in row}
    assert kinds == {"s", "n", "d"}
    read = {cell.value for cell in book["Lines"]["G"]}
    assert set(PAYLOADS) <= read


def test_the_chart_sets_ordered_against_budget_for_each_system():
    page = opened(spend_workbook(report(many(40))))["By system"]
    (chart,) = page._charts
    last = page.max_row - 1
    assert [series.val.numRef.f for series in chart.series] == [
        f"'By system'!$C$2:$C${last}",
        f"'By system'!$D$2:$D${last}",
    ]


def test_an_empty_report_still_has_headings_and_a_nought_total():
    book = opened(spend_workbook(report()))
    assert [cell.value for cell in book["By system"][2]] == ["Total", None, 0, 0, 0, 0, 0, 0, 0]
    assert [page.max_row for page in book] == [2] * 6
    assert book["By system"]._charts == []


def test_what_was_filtered_out_is_said_on_every_sheet():
    book = opened(spend_workbook(report([line()], filters="Only orders of March 2026")))
    assert {page["A1"].comment.text for page in book} == {"Only orders of March 2026"}
    assert opened(spend_workbook(report([line()])))["Lines"]["A1"].comment is None


def test_two_thousand_lines_are_quick():
    started = time.perf_counter()
    spend_workbook(report(many(2000)))
    assert time.perf_counter() - started < 20  # two seconds on an idle machine


def test_a_refund_is_a_row_without_quantity_and_with_money_below_nought():
    back = line(quantity=None, unit_price=None, goods=-1000, landed=-1000, state="refund")
    sheet = frames(spend_workbook(report([line(), back])))["Lines"]
    assert sheet["Landed"].tolist() == [44.1, -10.0, 34.1]
    assert sheet["Quantity"].isna().tolist() == [False, True, True]


def test_what_was_sold_and_given_is_a_sheet_of_its_own_with_its_total():
    rows = [given(), given(how="Came as a gift", what="Sextant", got=0, worth=40000, part_number="")]
    data = spend_workbook(replace(report([line()]), given=rows))
    sheet = pd.read_excel(BytesIO(data), sheet_name="Sold and given", dtype={"Part number": str})
    assert sheet["Got for it"].tolist() == [125.0, 0.0, 125.0]
    assert sheet["Worth"].tolist() == [0.0, 400.0, 400.0]
    assert sheet["Part number"].tolist()[0] == "00045"
    whom = next(cell for cell in opened(data)["Sold and given"]["F"] if cell.value == "=1+1")
    assert whom.data_type == "s"
    assert opened(data)["By system"]["D2"].value == 44.1  # Ordered knows nothing of it
