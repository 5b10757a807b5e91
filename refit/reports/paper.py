"""Lists on paper: black on white, headings on every page, rows whole, and on each sheet what it is worth.

Decides the page (identity, as-at date, page n of m, who prepared it), the type and the rules. Does not decide
what the list says: columns, groups and rows come ready as text.
"""

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from babel.dates import format_date
from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, LongTable, PageTemplate, Paragraph, Spacer

from refit.reports import fonts
from refit.reports.fonts import BOLD, REGULAR, printable
from refit.reports.workbook import NOT_VERIFIED, clean

SIZE, LEADING = 8.6, 10.8
MARGIN = 14 * mm
HEAD, FOOT = 17 * mm, 9 * mm
LINES_IN_A_ROW = 30  # a row must fit on one page, as it is never broken
MORE = "… (more on screen)"


class Page(enum.Enum):
    """Name the sheet of paper."""

    PORTRAIT = A4
    LANDSCAPE = landscape(A4)


class Side(enum.Enum):
    """Name the side that a column's text stands on; figures stand right."""

    LEFT = TA_LEFT
    RIGHT = TA_RIGHT


@dataclass(frozen=True)
class PaperColumn:
    """Describe one column; widths are shares of the page."""

    heading: str
    share: float
    side: Side = Side.LEFT


@dataclass(frozen=True)
class PaperRow:
    """Hold one row as text; a strong row is printed bold."""

    cells: Sequence[str]
    strong: bool = False


@dataclass(frozen=True)
class Group:
    """Hold rows under one heading; an empty heading prints none."""

    heading: str
    rows: Sequence[PaperRow]


def shown(quantity: Decimal) -> str:
    """Return a quantity as people write it: 12, 0.5, 1,250."""
    text = f"{quantity:,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def day(value: date | None) -> str:
    """Return a date as people write it, 3 Mar 2026; nothing for none."""
    return "" if value is None else format_date(value, "d MMM y", locale="en_GB")


def table_pdf(
    title: str,
    *,
    identity: Sequence[str],
    as_at: date,
    columns: Sequence[PaperColumn],
    groups: Sequence[Group],
    page: Page = Page.PORTRAIT,
    notes: Sequence[str] = (),
    empty: str = "Nothing to list.",
) -> bytes:
    """Write a list as a PDF; `identity` is the boat's identity, `notes` stand above the table."""
    fonts.use_fonts()
    width, height = page.value
    frame = Frame(
        MARGIN, MARGIN + FOOT, width - 2 * MARGIN, height - 2 * MARGIN - HEAD - FOOT, *[0] * 4, id="list"
    )
    out = BytesIO()
    # invariant: the same list gives the same file, so a copy can be told from a change
    document = BaseDocTemplate(
        out,
        pagesize=page.value,
        title=clean(title),
        author=clean(" · ".join(identity)),
        subject=NOT_VERIFIED,
        lang="en-GB",
        invariant=1,
    )
    document.addPageTemplates(PageTemplate(frames=[frame]))
    kind = ParagraphStyle("note", fontName=REGULAR, fontSize=SIZE, leading=LEADING, spaceAfter=4)
    story: list[Flowable] = [Paragraph(_marked_up(note), kind) for note in notes]
    if notes:
        story.append(Spacer(0, 3))
    if any(group.rows for group in groups):
        story.append(_table(columns, groups, frame.width))
    else:
        story.append(Paragraph(_marked_up(empty), kind))
    furniture = partial(_draw_furniture, title=title, identity=identity, as_at=as_at)
    document.build(story, canvasmaker=partial(_CountedCanvas, furniture=furniture))
    return out.getvalue()


class _CountedCanvas(Canvas):
    """Hold the pages back until their number is known, then give each its head and foot."""

    def __init__(self, *args: Any, furniture: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._furniture = furniture
        self._held: list[dict[str, Any]] = []

    def showPage(self) -> None:
        self._held.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        held = self._held
        for number, state in enumerate(held, 1):
            self.__dict__.update(state)
            self._furniture(self, number, len(held))
            super().showPage()
        super().save()


def _draw_furniture(
    canvas: Canvas,
    number: int,
    pages: int,
    *,
    title: str,
    identity: Sequence[str],
    as_at: date,
) -> None:
    width, height = canvas._pagesize
    left, right, top = MARGIN, width - MARGIN, height - MARGIN
    stamp = f"As at {day(as_at)}"
    room = right - left - stringWidth(stamp, REGULAR, 10) - 12
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 15)
    canvas.drawString(left, top - 12, _cut(title, BOLD, 15, room))
    canvas.setFont(REGULAR, 10)
    canvas.drawRightString(right, top - 12, stamp)
    canvas.setFont(REGULAR, 9)
    canvas.drawString(left, top - 26, _cut(" · ".join(identity), REGULAR, 9, right - left))
    canvas.setLineWidth(1.2)
    canvas.line(left, top - 33, right, top - 33)
    canvas.setLineWidth(0.5)
    canvas.line(left, MARGIN + 13, right, MARGIN + 13)
    canvas.setFont(REGULAR, 8.5)
    canvas.drawString(left, MARGIN + 2, NOT_VERIFIED)
    canvas.drawRightString(right, MARGIN + 2, f"Page {number} of {pages}")


def _table(columns: Sequence[PaperColumn], groups: Sequence[Group], width: float) -> LongTable:
    shares = sum(column.share for column in columns)
    widths = [width * column.share / shares for column in columns]
    styles = {
        (font, side): ParagraphStyle(
            f"{font} {side.name}", fontName=font, fontSize=SIZE, leading=LEADING, alignment=side.value
        )
        for font in (REGULAR, BOLD)
        for side in Side
    }
    rows: list[list[Any]] = [
        [
            _cell(column.heading, at_width, styles[BOLD, column.side])
            for column, at_width in zip(columns, widths, strict=True)
        ]
    ]
    look: list[tuple[Any, ...]] = [
        ("FONT", (0, 0), (-1, -1), REGULAR, SIZE, LEADING),
        ("FONT", (0, 0), (-1, 0), BOLD, SIZE, LEADING),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("LINEBELOW", (0, 0), (-1, 0), 0.9, (0, 0, 0)),
        ("LINEBELOW", (0, 1), (-1, -1), 0.25, (0.45, 0.45, 0.45)),
    ]
    for at, column in enumerate(columns):
        look.append(("ALIGN", (at, 0), (at, -1), column.side.name))
    for group in groups:
        if group.rows and group.heading:
            at = len(rows)
            rows.append([_cut(group.heading, BOLD, 10, width - 8), *[""] * (len(columns) - 1)])
            look += [
                ("SPAN", (0, at), (-1, at)),
                ("ALIGN", (0, at), (-1, at), "LEFT"),
                ("FONT", (0, at), (-1, at), BOLD, 10, 12.5),
                ("TOPPADDING", (0, at), (-1, at), 9),
                ("LINEBELOW", (0, at), (-1, at), 0.5, (0, 0, 0)),
                # A heading never stands alone at the foot of a page.
                ("NOSPLIT", (0, at), (-1, at + 1)),
            ]
        for row in group.rows:
            font = bold if row.strong else REGULAR
            if row.strong:
                look.append(("FONT", (0, len(rows)), (-1, len(rows)), BOLD, SIZE, LEADING))
            rows.append(
                [
                    _cell(text, at_width, styles[font, column.side])
                    for text, column, at_width in zip(row.cells, columns, widths, strict=True)
                ]
            )
    return LongTable(rows, colWidths=widths, style=look, repeatRows=1, splitByRow=1)


def _cell(text: str, width: float, style: ParagraphStyle) -> Any:
    # Text that fits on its line is drawn as it is: a list of thousands of rows is then ten times as quick.
    plain = _drawable(text)
    room = width - 7
    if "\n" not in plain and stringWidth(plain, style.fontName, SIZE) <= room:
        return plain
    most = max(int(room / (0.62 * SIZE)), 4) * LINES_IN_A_ROW
    if len(plain) > most:
        plain = plain[:most].rstrip() + MORE
    # Many short lines are as tall as one long text.
    lines = plain.split("\n")
    if len(lines) > LINES_IN_A_ROW:
        plain = "\n".join([*lines[:LINES_IN_A_ROW], MORE])
    return Paragraph(_marked_up(plain), style)


def _marked_up(text: str) -> str:
    return escape(_drawable(text)).replace("\n", "<br/>")


def _drawable(text: str) -> str:
    return "\n".join(printable(line) for line in text.splitlines())


def _cut(text: str, font: str, size: float, room: float) -> str:
    plain = printable(text[:400])
    if stringWidth(plain, font, size) <= room:
        return plain
    while plain and stringWidth(plain + "…", font, size) > room:
        plain = plain[:-1]
    return plain.rstrip() + "…"
