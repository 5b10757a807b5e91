"""Any list as a file: xlsx, or csv for what cannot read xlsx.

Decides how a csv is written so that a spreadsheet runs nothing in it. Does not decide which rows a person may
see: they come ready.
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from io import StringIO
from typing import Any

from refit.calc.money import from_minor
from refit.reports.workbook import Column, Kind, Sheet, clean, workbook

# OWASP, CSV Injection: a cell must not begin with these; a spreadsheet also reads the full-width forms.
_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


@dataclass(frozen=True)
class TableExport:
    """Hold one list ready to leave: the columns and, for each row, values of the columns' kinds."""

    title: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Any]]


def table_xlsx(export: TableExport, currency: str, *, identity: Sequence[str], as_at: date) -> bytes:
    """Write the list as an xlsx file of one sheet."""
    sheet = Sheet(_sheet_title(export.title), export.columns, export.rows)
    return workbook([sheet], currency, title=export.title, identity=identity, as_at=as_at)


def table_csv(export: TableExport, currency: str) -> bytes:
    """Write the list as csv (RFC 4180, UTF-8 with its mark), every field quoted, text kept from running."""
    out = StringIO(newline="")
    # Every field quoted: where the semicolon parts cells, a bare `a;=1+1` would open a second cell.
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow([harmless(column.heading) for column in export.columns])
    for row in export.rows:
        pairs = zip(export.columns, row, strict=True)
        writer.writerow([_field(column.kind, value, currency) for column, value in pairs])
    return out.getvalue().encode("utf-8-sig")


def harmless(text: str) -> str:
    """Return the text with a leading quote where a spreadsheet would take it for a formula."""
    cleaned = clean(text)
    return "'" + cleaned if cleaned.startswith(_DANGEROUS) else cleaned


def _field(kind: Kind, value: Any, currency: str) -> str:
    if kind is Kind.MONEY:
        return f"{from_minor(value or 0, currency):f}"
    if value is None:
        return ""
    if kind is Kind.TEXT:
        return harmless(str(value))
    if kind is Kind.DATE:
        return str(value.isoformat())
    return f"{Decimal(value):f}"


def _sheet_title(title: str) -> str:
    # A sheet's name holds at most 31 characters and none of these.
    kept = "".join(" " if c in "[]:*?/\\'" else c for c in clean(title))
    return " ".join(kept.split())[:31].strip() or "List"
