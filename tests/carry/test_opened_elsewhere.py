"""The spend workbook opened, recalculated and saved by LibreOffice: the same sheets, the same figures, no repair."""

import subprocess
from decimal import Decimal
from io import BytesIO

import pytest
from openpyxl import load_workbook

from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.actions.orders import ChargeFacts
from refit.buying.spend import Filters
from refit.carry.spend import report
from refit.reports.spend import spend_workbook
from tests.tools import need

D = Decimal


def opened_and_saved(data: bytes, tmp_path) -> bytes:
    """Return a workbook as LibreOffice saves it after a full recalculation."""
    given, made = tmp_path / "spend.xlsx", tmp_path / "made"
    given.write_bytes(data)
    subprocess.run(
        [
            need("soffice"),
            f"-env:UserInstallation=file://{tmp_path}/profile",
            "--headless",
            "--convert-to",
            "xlsx:Calc MS Excel 2007 XML",
            "--outdir",
            str(made),
            str(given),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return (made / "spend.xlsx").read_bytes()


def cells(data: bytes) -> dict[str, list[list[object]]]:
    """Return every cell of every sheet, blanks at the ends left off, numbers to a ten-thousandth."""
    found = {}
    for sheet in load_workbook(BytesIO(data), data_only=True).worksheets:
        rows = []
        for row in sheet.iter_rows(values_only=True):
            plain = [round(cell, 4) if isinstance(cell, float) else cell for cell in row]
            while plain and plain[-1] in (None, ""):
                plain.pop()
            rows.append(plain)
        while rows and not rows[-1]:
            rows.pop()
        found[sheet.title] = rows
    return found


@pytest.mark.django_db
def test_the_workbook_comes_back_with_every_cell_the_same(make, tmp_path):
    part = make.part("=cmd|'/c calc'!A1", numbers=[("maker", "00123", "")])
    job = make.job("+1+1")
    order = make.order(
        make.line(part, packs=D(3), price=D("412.35"), job=job, place=make.place("S3")),
        make.line(words="@SUM(1)", price=D("0.05"), system=make.other_system),
        currency="SEK",
        rate=D("13.42"),
        charges=(ChargeFacts(kind="freight", amount=D("95")),),
    )
    book_in(make.boat, [Arrival(order.lines.first(), D(1))], by=make.owner, on=make.today, today=make.today)
    data = spend_workbook(report(make.boat, Filters(), on=make.today))
    assert cells(opened_and_saved(data, tmp_path)) == cells(data)
