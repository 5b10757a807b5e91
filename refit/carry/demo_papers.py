"""The demo's papers: small pictures and PDFs, drawn from the words in the data when the demo is made."""

import io
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.models import User
from PIL import Image, ImageDraw, ImageFont

from refit.boat.actions.papers import add_paper, put_on
from refit.boat.models import Boat, Paper, PaperKind, PlacePaper
from refit.buying.actions.orders import attach_paper
from refit.carry.demo_buying import Buying
from refit.carry.demo_files import Row
from refit.stores.models import PartPaper
from refit.work.models import JobPaper

PAPER, INK = (250, 248, 240), (40, 40, 48)
WALL, GLARE = (122, 108, 88), (236, 232, 220)  # of what stands for a photo
WIDTH, LINE, EDGE = 620, 34, 40
PHOTO_HEIGHT = 420


@dataclass
class Papers:
    """The papers of the demo, each with what it belongs to."""

    boat: Boat
    by: User
    buying: Buying

    def draw(self) -> str:
        """Draw each paper and keep it: with its order, part, job or place, or in the tray until it is sorted."""
        receipts = self._by_name("receipts.csv", "receipt")
        for name, rows in receipts.items():
            in_tray = not rows[0].text("order")
            paper = self._keep(draw(lines_of(rows)), PaperKind.RECEIPT, name, in_tray=in_tray)
            self._put_on_order(paper, rows[0])
        papers = self._by_name("papers.csv", "paper")
        for name, rows in papers.items():
            self._paper(name, rows)
        return f"{len(receipts)} receipts and {len(papers)} other papers"

    def _paper(self, name: str, rows: list[Row]) -> None:
        first, stores = rows[0], self.buying.stores
        kind = first.given("kind")
        picture = (
            photo(lines_of(rows)) if kind == PaperKind.PHOTO else draw(lines_of(rows), first.given("as"))
        )
        paper = self._keep(picture, kind, name)
        self._put_on_order(paper, first)
        if first.text("part"):
            put_on(PartPaper, paper, part=stores.part(first))
        if first.text("job"):
            put_on(JobPaper, paper, job=stores.job(first))
        if first.text("place"):
            put_on(PlacePaper, paper, location=stores.place(first, "place"))

    def _put_on_order(self, paper: Paper, row: Row) -> None:
        if row.text("order"):
            attach_paper(self.buying.order(row), paper)

    def _keep(self, data: bytes, kind: str, name: str, **facts: Any) -> Paper:
        return add_paper(self.boat, data, kind=kind, by=self.by, name=name, **facts)

    def _by_name(self, file: str, name: str) -> dict[str, list[Row]]:
        found: dict[str, list[Row]] = defaultdict(list)
        for row in self.buying.files.rows(file):
            found[row.given(name)].append(row)
        return found


def lines_of(rows: list[Row]) -> list[tuple[str, str]]:
    """Return what stands on a paper: words on the left, figures on the right."""
    return [(row.text("left"), row.text("right")) for row in rows]


def draw(lines: list[tuple[str, str]], kind: str = "png") -> bytes:
    """Return a sheet with these lines, the figures on the right, as a PNG or a PDF."""
    sheet = Image.new("RGB", (WIDTH, 2 * EDGE + LINE * len(lines)), PAPER)
    _write(sheet, lines, EDGE, INK)
    return _saved(sheet, kind)


def photo(lines: list[tuple[str, str]]) -> bytes:
    """Return what stands for a photo in the demo: planks, with what is seen on them written below."""
    sheet = Image.new("RGB", (WIDTH, PHOTO_HEIGHT), WALL)
    pen = ImageDraw.Draw(sheet)
    for edge in range(0, WIDTH, 62):
        pen.line([(edge, 0), (edge - 24, PHOTO_HEIGHT)], fill=INK, width=3)
    top = PHOTO_HEIGHT - LINE * len(lines) - EDGE
    pen.rectangle([0, top - 16, WIDTH, PHOTO_HEIGHT], fill=INK)
    _write(sheet, lines, top, GLARE)
    return _saved(sheet, "png")


def _write(sheet: Image.Image, lines: list[tuple[str, str]], top: int, ink: tuple[int, int, int]) -> None:
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(size=22)
    for number, (left, right) in enumerate(lines):
        y = top + number * LINE
        pen.text((EDGE, y), left, ink, font=font)
        pen.text((WIDTH - EDGE - pen.textlength(right, font=font), y), right, ink, font=font)


def _saved(sheet: Image.Image, kind: str) -> bytes:
    out = io.BytesIO()
    if kind == "pdf":
        sheet.save(out, "PDF", resolution=110)
    else:
        sheet.save(out, "PNG", optimize=True)
    return out.getvalue()
