"""The demo's receipts: small pictures of till paper, drawn from the words in the data when the demo is made."""

import io
from collections import defaultdict

from django.contrib.auth.models import User
from PIL import Image, ImageDraw, ImageFont

from refit.boat.actions.papers import add_paper
from refit.boat.models import Boat, PaperKind
from refit.buying.actions.orders import attach_paper
from refit.buying.models import Order
from refit.carry.demo_files import Files, Row

PAPER, INK = (250, 248, 240), (40, 40, 48)
WIDTH, LINE, EDGE = 620, 34, 40


def draw_receipts(boat: Boat, files: Files, by: User, orders: dict[int, Order]) -> str:
    """Draw each receipt and keep it: with its order, or in the tray until somebody sorts it."""
    papers: dict[str, list[Row]] = defaultdict(list)
    for row in files.rows("receipts.csv"):
        papers[row.given("receipt")].append(row)
    for name, rows in papers.items():
        order = orders[rows[0].whole("order") or 0] if rows[0].text("order") else None
        picture = draw([(row.text("left"), row.text("right")) for row in rows])
        paper = add_paper(boat, picture, kind=PaperKind.RECEIPT, by=by, in_tray=order is None, name=name)
        if order is not None:
            attach_paper(order, paper)
    return f"{len(papers)} receipts"


def draw(lines: list[tuple[str, str]]) -> bytes:
    """Return a PNG of till paper with these lines, the figures on the right."""
    sheet = Image.new("RGB", (WIDTH, 2 * EDGE + LINE * len(lines)), PAPER)
    pen = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(size=22)
    for number, (left, right) in enumerate(lines):
        top = EDGE + number * LINE
        pen.text((EDGE, top), left, INK, font=font)
        pen.text((WIDTH - EDGE - pen.textlength(right, font=font), top), right, INK, font=font)
    out = io.BytesIO()
    sheet.save(out, "PNG", optimize=True)
    return out.getvalue()
