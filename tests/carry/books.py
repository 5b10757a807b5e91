"""Spreadsheets for tests, kind and hostile, made in memory."""

import io
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from openpyxl import Workbook, load_workbook


def xlsx(sheets: Mapping[str, Sequence[Sequence[Any]]], *, epoch_1904: bool = False) -> bytes:
    """Return a workbook of these sheets."""
    book = Workbook()
    book.remove(book.active)
    if epoch_1904:
        from openpyxl.utils.datetime import CALENDAR_MAC_1904

        book.epoch = CALENDAR_MAC_1904
    for title, rows in sheets.items():
        page = book.create_sheet(title)
        for row in rows:
            page.append(list(row))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def saved(book: Workbook) -> bytes:
    """Return a workbook as bytes."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_part(data: bytes, name: str, content: bytes | None) -> bytes:
    """Return an xlsx with one of its parts put in, put in place of another, or left out."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            if part != name:
                new.writestr(part, old.read(part))
        if content is not None:
            new.writestr(name, content)
    return out.getvalue()


def part(data: bytes, name: str) -> bytes:
    """Return one part of an xlsx."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return archive.read(name)


def rows_of(data: bytes, title: str | None = None) -> list[list[Any]]:
    """Return the rows of a sheet as openpyxl reads them."""
    book = load_workbook(io.BytesIO(data))
    page = book[title] if title else book.worksheets[0]
    return [list(row) for row in page.iter_rows(values_only=True)]


SEASON = [
    "Order no",
    "Shop",
    "Date",
    "Currency",
    "Part no",
    "Item",
    "Qty",
    "Price",
    "Shipping",
    "Category",
    "Locker",
]


def season(lines: int) -> bytes:
    """Return a spreadsheet of orders with four lines each, a fifth of them in euros, half of them of parts."""
    first = date(2024, 1, 2)
    rows = [
        [
            f"R-{at // 4}", f"Shop {at // 4 % 40}", first + timedelta(days=at // 4 % 300), "EUR" if at // 4 % 5 == 0 else "GBP",
            f"PN-{at % 500}" if at % 2 else None, f"Thing {at % 500}", 1 + at % 3, round(3.5 + at % 90 * 1.07, 2),
            6.9 if at % 4 == 0 else None, ["Rig", "Engine", "Steering"][at % 3], f"S{at % 30}",
        ]
        for at in range(lines)
    ]  # fmt: skip
    return xlsx({"Purchases": [SEASON, *rows]})
