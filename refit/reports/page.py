"""The printed page: its size and margins, and on each sheet whose it is, as at when, and what it is worth.

Decides what stands round the contents of every sheet. Does not decide the contents.
"""

import enum
from bisect import bisect_right
from collections.abc import Sequence
from datetime import date
from functools import partial
from io import BytesIO
from typing import Any

from babel.dates import format_date
from reportlab.lib.pagesizes import A3, A4, landscape
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from refit.reports import fonts
from refit.reports.fonts import BOLD, REGULAR, printable
from refit.reports.workbook import NOT_VERIFIED, clean

MARGIN = 14 * mm
HEAD, FOOT = 14 * mm, 8 * mm


class Page(enum.Enum):
    """Name the sheet of paper."""

    PORTRAIT = A4
    LANDSCAPE = landscape(A4)
    LARGE = landscape(A3)

    @property
    def inner(self) -> tuple[float, float]:
        """Return the width and height, in pt, that the contents have between head and foot."""
        width, height = self.value
        return width - 2 * MARGIN, height - 2 * MARGIN - HEAD - FOOT


def day(value: date | None) -> str:
    """Return a date as people write it, 3 Mar 2026; nothing for none."""
    return "" if value is None else format_date(value, "d MMM y", locale="en_GB")


def cut(text: str, font: str, size: float, room: float) -> str:
    """Return the text as the fonts can draw it, cut with an ellipsis where it is wider than the room, in pt."""
    plain = printable(text[:400])
    if stringWidth(plain, font, size) <= room:
        return plain
    fits = bisect_right(range(1, len(plain)), room, key=lambda n: stringWidth(plain[:n] + "…", font, size))
    return plain[:fits].rstrip() + "…"


def about(title: str, identity: Sequence[str]) -> dict[str, Any]:
    """Return what the file says of itself. The same contents give the same file, so a copy can be told from a change."""
    return {
        "title": clean(title),
        "author": clean(" · ".join(identity)),
        "subject": NOT_VERIFIED,
        "lang": "en-GB",
        "invariant": 1,
    }


def numbered(title: str, identity: Sequence[str], as_at: date) -> partial["NumberedCanvas"]:
    """Return the maker of a canvas whose pages bear the boat's identity, the day, and page n of m."""
    fonts.use_fonts()
    furniture = partial(_draw_furniture, title=title, identity=identity, as_at=as_at)
    return partial(NumberedCanvas, furniture=furniture)


class NumberedCanvas(Canvas):
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


def blank(page: Page, *, title: str, identity: Sequence[str], as_at: date) -> tuple[NumberedCanvas, BytesIO]:
    """Begin a file to draw on, and return where its bytes come when it is saved."""
    out = BytesIO()
    canvas = numbered(title, identity, as_at)(out, pagesize=page.value, lang="en-GB", invariant=1)
    said = about(title, identity)
    canvas.setTitle(said["title"])
    canvas.setAuthor(said["author"])
    canvas.setSubject(said["subject"])
    return canvas, out


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
    canvas.setStrokeGray(0)
    canvas.setDash()
    canvas.setFont(BOLD, 15)
    canvas.drawString(left, top - 12, cut(title, BOLD, 15, room))
    canvas.setFont(REGULAR, 10)
    canvas.drawRightString(right, top - 12, stamp)
    canvas.setFont(REGULAR, 9)
    canvas.drawString(left, top - 26, cut(" · ".join(identity), REGULAR, 9, right - left))
    canvas.setLineWidth(1.2)
    canvas.line(left, top - 33, right, top - 33)
    canvas.setLineWidth(0.5)
    canvas.line(left, MARGIN + 13, right, MARGIN + 13)
    canvas.setFont(REGULAR, 8.5)
    canvas.drawString(left, MARGIN + 2, NOT_VERIFIED)
    canvas.drawRightString(right, MARGIN + 2, f"Page {number} of {pages}")
