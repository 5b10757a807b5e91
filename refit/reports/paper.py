"""Lists on paper: black on white, headings on every page, rows whole, and on each sheet what it is worth.

Decides the type and the rules; what stands round the list is the page's. Does not decide what the list says:
columns, groups and rows come ready as text.
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

from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    LongTable,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from refit.reports import fonts
from refit.reports.fonts import BOLD, REGULAR, printable
from refit.reports.page import FOOT, HEAD, MARGIN, Page, about, cut, numbered
from refit.reports.page import day as day

SIZE, LEADING = 8.6, 10.8
PAD = 3.5
LINES_IN_A_ROW = 30  # a row must fit on one page, as it is never broken
MORE = "… (more on screen)"

_NOTE = ParagraphStyle("note", fontName=REGULAR, fontSize=SIZE, leading=LEADING)


class Side(enum.Enum):
    """Name the side that a column's text stands on; figures stand right."""

    LEFT = TA_LEFT
    RIGHT = TA_RIGHT


@dataclass(frozen=True)
class PaperColumn:
    """Describe one column; widths are shares of the page. Boxes to tick hold a cross where the cell says anything."""

    heading: str
    share: float
    side: Side = Side.LEFT
    boxes: bool = False


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
    canvas_maker = numbered(title, identity, as_at)
    inner, room = page.inner
    widths = _widths(columns, inner)
    listed = any(group.rows for group in groups)
    first = _above(columns if listed else (), widths, notes)
    later = _above(columns if listed else (), widths, ())
    out = BytesIO()
    document = BaseDocTemplate(out, pagesize=page.value, **about(title, identity))
    for name, above, following in (("first", first, "later"), ("later", later, None)):
        frame = Frame(MARGIN, MARGIN + FOOT, inner, room - _height(above, inner), 0, 0, 0, 0)
        template = PageTemplate(name, [frame], onPage=partial(_draw_above, above=above))
        template.autoNextPageTemplate = following
        document.addPageTemplates(template)
    story: list[Flowable] = [_table(group, columns, widths) for group in groups if group.rows]
    document.build(story or [Paragraph(marked_up(empty), _NOTE)], canvasmaker=canvas_maker)
    return out.getvalue()


def _widths(columns: Sequence[PaperColumn], inner: float) -> list[float]:
    """Share the page out, but give every column room for the longest word of its heading."""
    shares = sum(column.share for column in columns)
    least = [_longest_word(column.heading) + 2 * PAD + 0.5 for column in columns]
    wide = [max(inner * c.share / shares, floor) for c, floor in zip(columns, least, strict=True)]
    slack = [width - floor for width, floor in zip(wide, least, strict=True)]
    taken = (sum(wide) - inner) / (sum(slack) or 1)
    return [width - taken * spare for width, spare in zip(wide, slack, strict=True)]


def _longest_word(heading: str) -> float:
    return max((float(stringWidth(word, BOLD, SIZE)) for word in heading.split()), default=0.0)


def _above(columns: Sequence[PaperColumn], widths: Sequence[float], notes: Sequence[str]) -> list[Flowable]:
    """Return what stands above the rows: the notes, then the columns' headings."""
    above: list[Flowable] = [Paragraph(marked_up(note), _NOTE) for note in notes]
    if notes:
        above.append(Spacer(0, 4))
    if columns:
        cells = _headings(columns, widths)
        above.append(Table([cells], colWidths=widths, style=[*_look(columns), *_HEADINGS]))
    return above


def _height(above: Sequence[Flowable], width: float) -> float:
    return float(sum(flowable.wrap(width, 10_000)[1] for flowable in above))


def _draw_above(canvas: Canvas, document: BaseDocTemplate, *, above: Sequence[Flowable]) -> None:
    width, height = document.pagesize
    top = height - MARGIN - HEAD
    for flowable in above:
        top -= flowable.wrapOn(canvas, width - 2 * MARGIN, 10_000)[1]
        flowable.drawOn(canvas, MARGIN, top)


def _style(font: str, side: Side) -> ParagraphStyle:
    return ParagraphStyle(
        f"{font} {side.name}", fontName=font, fontSize=SIZE, leading=LEADING, alignment=side.value
    )


def _look(columns: Sequence[PaperColumn]) -> list[tuple[Any, ...]]:
    look: list[tuple[Any, ...]] = [
        ("FONT", (0, 0), (-1, -1), REGULAR, SIZE, LEADING),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ("LEFTPADDING", (0, 0), (-1, -1), PAD),
        ("RIGHTPADDING", (0, 0), (-1, -1), PAD),
    ]
    return look + [("ALIGN", (at, 0), (at, -1), column.side.name) for at, column in enumerate(columns)]


def _table(group: Group, columns: Sequence[PaperColumn], widths: Sequence[float]) -> LongTable:
    """Return one group as a table whose heading comes again where it goes over the page."""
    look = [*_look(columns), ("LINEBELOW", (0, 0), (-1, -1), 0.25, (0.5, 0.5, 0.5))]
    rows: list[list[Any]] = []
    if group.heading:
        rows.append([cut(group.heading, BOLD, 10, sum(widths) - 2 * PAD), *[""] * (len(columns) - 1)])
        look += [
            ("SPAN", (0, 0), (-1, 0)),
            ("ALIGN", (0, 0), (-1, 0), "LEFT"),
            ("FONT", (0, 0), (-1, 0), BOLD, 10, 12.5),
            ("TOPPADDING", (0, 0), (-1, 0), 7),
            ("LINEBELOW", (0, 0), (-1, 0), 0.5, (0, 0, 0)),
            # A heading never stands alone at the foot of a page.
            ("NOSPLIT", (0, 0), (-1, 1)),
        ]
    styles = _styles()
    for row in group.rows:
        if row.strong:
            look.append(("FONT", (0, len(rows)), (-1, len(rows)), BOLD, SIZE, LEADING))
        rows.append(_cells(row, columns, widths, styles))
    return LongTable(rows, colWidths=widths, style=look, repeatRows=1 if group.heading else 0, splitByRow=1)


def listing(columns: Sequence[PaperColumn], rows: Sequence[PaperRow], inner: float) -> LongTable:
    """Return rows as a table that stands among other things, its columns' headings again on every page it reaches."""
    fonts.use_fonts()
    widths, styles = _widths(columns, inner), _styles()
    look = [*_look(columns), *_HEADINGS, ("LINEBELOW", (0, 1), (-1, -1), 0.25, (0.5, 0.5, 0.5))]
    cells = [_headings(columns, widths), *(_cells(row, columns, widths, styles) for row in rows)]
    return LongTable(cells, colWidths=widths, style=look, repeatRows=1, splitByRow=1)


_HEADINGS: tuple[tuple[Any, ...], ...] = (
    ("FONT", (0, 0), (-1, 0), BOLD, SIZE, LEADING),
    ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
    ("LINEBELOW", (0, 0), (-1, 0), 0.9, (0, 0, 0)),
)


def _headings(columns: Sequence[PaperColumn], widths: Sequence[float]) -> list[Any]:
    pairs = zip(columns, widths, strict=True)
    return [_cell(column.heading, width, _style(BOLD, column.side)) for column, width in pairs]


def _styles() -> dict[tuple[str, Side], ParagraphStyle]:
    return {(font, side): _style(font, side) for font in (REGULAR, BOLD) for side in Side}


def _cells(
    row: PaperRow,
    columns: Sequence[PaperColumn],
    widths: Sequence[float],
    styles: dict[tuple[str, Side], ParagraphStyle],
) -> list[Any]:
    font = BOLD if row.strong else REGULAR
    return [
        _Box(text) if column.boxes else _cell(text, width, styles[font, column.side])
        for text, column, width in zip(row.cells, columns, widths, strict=True)
    ]


class _Box(Flowable):
    """A box to tick with a pencil; what is done already is crossed."""

    side = 10.0

    def __init__(self, text: str) -> None:
        super().__init__()
        self._crossed = bool(text)

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.side, self.side

    def draw(self) -> None:
        self.canv.setLineWidth(0.9)
        self.canv.rect(0.5, 0, self.side - 1, self.side - 1)
        if self._crossed:
            self.canv.lines([(2, 1.5, 8, 7.5), (2, 7.5, 8, 1.5)])


def _cell(text: str, width: float, style: ParagraphStyle) -> Any:
    # Text that fits on its line is drawn as it is: a list of thousands of rows is then ten times as quick.
    plain = _drawable(text)
    room = width - 2 * PAD
    if "\n" not in plain and stringWidth(plain, style.fontName, SIZE) <= room:
        return plain
    most = max(int(room / (0.62 * SIZE)), 4) * LINES_IN_A_ROW
    if len(plain) > most:
        plain = plain[:most].rstrip() + MORE
    # Many short lines are as tall as one long text.
    lines = plain.split("\n")
    if len(lines) > LINES_IN_A_ROW:
        plain = "\n".join([*lines[:LINES_IN_A_ROW], MORE])
    return Paragraph(marked_up(plain), style)


def marked_up(text: str) -> str:
    """Return text as a paragraph takes it: nothing in it is markup, and its lines stay lines."""
    return escape(_drawable(text)).replace("\n", "<br/>")


def _drawable(text: str) -> str:
    return "\n".join(printable(line) for line in text.splitlines())
