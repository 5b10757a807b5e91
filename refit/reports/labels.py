"""Label sheets as PDF, and one label as SVG for the screen.

Decides how labels are dealt onto sheets and what is refused. Where things lie on a label is decided in
label_face, where labels lie on a sheet in sheets.
"""

import io
from collections.abc import Sequence
from html import escape

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from refit.reports import fonts, qr
from refit.reports.label_face import Face, LabelRow, face
from refit.reports.sheets import STOCKS, Stock

__all__ = ["LabelProblem", "LabelRow", "label_sheets", "module_mm", "preview_svg", "sheets_needed"]

LARGEST_NUDGE_MM = 5.0
RULE_MM = 0.25
# Alphanumeric capacity at error correction Q by version (ISO/IEC 18004), as far as a label can carry.
CAPACITY = {1: 16, 2: 29, 3: 47, 4: 67, 5: 87, 6: 108}


class LabelProblem(ValueError):
    """A choice of labels that can't be printed; the message says why and what to do."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def label_sheets(
    rows: Sequence[LabelRow],
    stock_key: str,
    *,
    first_place: int = 1,
    nudge_x_mm: float = 0,
    nudge_y_mm: float = 0,
    boat: str = "",
) -> bytes:
    """Print labels onto sheets, from the first free place on, moved right and down by the nudge."""
    stock = _stock(stock_key)
    _check(rows, stock, first_place, nudge_x_mm, nudge_y_mm)
    faces = [_face(row, stock) for row in rows]
    fonts.use_fonts()
    kept = io.BytesIO()
    page = (stock.page_w_mm * mm, stock.page_h_mm * mm)
    canvas = Canvas(kept, pagesize=page, invariant=1, pageCompression=1)
    canvas.setTitle(f"Labels, {boat}" if boat else "Labels")
    canvas.setSubject(stock.name)
    canvas.setAuthor(boat)
    canvas.setCreator("refit")
    canvas.setViewerPreference("PrintScaling", "None")  # fitting to the page would shrink every label
    total = sheets_needed(len(rows), stock_key, first_place)
    for index, each in enumerate(faces, start=first_place - 1):
        place = index % stock.places
        if place == 0 and index > first_place - 1:
            canvas.showPage()
        x, y = stock.cell(place)
        _draw(canvas, stock, each, x + float(nudge_x_mm), y + float(nudge_y_mm))
        if place == stock.places - 1 or index == first_place + len(faces) - 2:
            _foot(canvas, stock, boat, index // stock.places + 1, total)
    canvas.save()
    return kept.getvalue()


def sheets_needed(labels: int, stock_key: str, first_place: int = 1) -> int:
    """Count the sheets that so many labels take."""
    places = _stock(stock_key).places
    return -(-(labels + first_place - 1) // places)


def module_mm(stock_key: str, address: str) -> float:
    """Tell the size of one square of the code, in mm, or refuse as printing would."""
    stock = _stock(stock_key)
    return _module(stock, _squares(address), address)


def preview_svg(row: LabelRow, stock_key: str) -> str:
    """Draw one label for the screen, to scale, as a standalone SVG."""
    stock = _stock(stock_key)
    each = _face(row, stock)
    w, h = stock.label_w_mm, stock.label_h_mm
    corner = 0 if stock.places == 1 else 1.5
    path = "".join(
        f"M{_n(each.qr_x + x * each.module)} {_n(each.qr_y + y * each.module)}"
        f"h{_n(length * each.module)}v{_n(each.module)}h-{_n(length * each.module)}z"
        for y, x, length in qr.runs(each.squares)
    )
    words = "".join(
        f'<text x="{_n(word.x)}" y="{_n(word.baseline)}" font-size="{_n(word.size)}" {_SVG_FONT[word.font]} '
        f'textLength="{_n(fonts.width(word.text, word.font, word.size))}" '
        f'lengthAdjust="spacingAndGlyphs">{escape(word.text)}</text>'
        for word in each.words
    )
    rules = "".join(
        f'<path d="M{_n(rule.x)} {_n(rule.y)}h{_n(rule.length)}" stroke="#000" stroke-width="{_n(RULE_MM)}"/>'
        for rule in each.rules
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" '
        f'viewBox="0 0 {_n(w)} {_n(h)}" role="img"><title>{escape(_title(row))}</title>'
        f'<rect x="1" y="1" width="{_n(w - 0.2)}" height="{_n(h - 0.2)}" rx="{_n(corner)}" '
        f'fill="#fff" stroke="#c9cec9" stroke-width="2"/>'
        f'<path d="{path}" shape-rendering="crispEdges"/>{words}{rules}</svg>'
    )


_SVG_FONT = {
    fonts.REGULAR: 'font-family="Noto Sans, system-ui, sans-serif"',
    fonts.BOLD: 'font-family="Noto Sans, system-ui, sans-serif" font-weight="700"',
    fonts.MONO: 'font-family="IBM Plex Mono, ui-monospace, monospace" font-weight="700"',
}


def _n(length_mm: float) -> str:
    """Write a length in tenths of a millimetre: browsers won't draw type below one unit."""
    return f"{length_mm * 10:.3f}".rstrip("0").rstrip(".")


def _title(row: LabelRow) -> str:
    return fonts.printable(f"Label {row.mark or row.name or 'blank'}, code {row.code}"[:200])


def _stock(stock_key: str) -> Stock:
    try:
        return STOCKS[stock_key]
    except KeyError:
        raise LabelProblem(
            "stock", f"There is no label stock “{str(stock_key)[:40]}”. Choose one of: {', '.join(STOCKS)}."
        ) from None


def _check(rows: Sequence[LabelRow], stock: Stock, first_place: int, x_mm: float, y_mm: float) -> None:
    if not rows:
        raise LabelProblem("empty", "Nothing is chosen to print. Choose places, or a number of blank labels.")
    if not 1 <= first_place <= stock.places:
        raise LabelProblem(
            "first_place",
            f"The first place is {first_place}; {stock.name} has places 1 to {stock.places}.",
        )
    for nudge in (x_mm, y_mm):
        if not abs(nudge) <= LARGEST_NUDGE_MM:  # so written, not-a-number is refused too
            raise LabelProblem(
                "nudge",
                f"The nudge is {nudge:g} mm; at most {LARGEST_NUDGE_MM:g} mm either way. "
                "If the print is further out, check that it is printed at 100 %.",
            )
    for row in rows:
        if not row.code or not row.address.upper().endswith(f"/L/{row.code.upper()}"):
            raise LabelProblem(
                "code", f"The address {row.address[:80]} does not lead to the code {row.code[:20]}."
            )


def _squares(address: str) -> qr.Matrix:
    try:
        return qr.matrix(address)
    except qr.AddressProblem as error:
        raise LabelProblem("address", str(error)) from error


def _module(stock: Stock, squares: qr.Matrix, address: str) -> float:
    module = qr.best_module_mm(stock, len(squares))
    if module < qr.SMALLEST_MODULE_MM:
        fitting = [
            count
            for version, count in CAPACITY.items()
            if qr.best_module_mm(stock, 17 + 4 * version) >= qr.SMALLEST_MODULE_MM
        ]
        shorter = f"use an address of at most {max(fitting)} characters, or " if fitting else ""
        raise LabelProblem(
            "module",
            f"On {stock.name}, the squares of the code would be {max(module, 0):.2f} mm; phones need "
            f"{qr.SMALLEST_MODULE_MM} mm. The address has {len(address)} characters: {shorter}"
            "choose a larger label.",
        )
    return module


def _face(row: LabelRow, stock: Stock) -> Face:
    squares = _squares(row.address)
    return face(row, stock, squares, _module(stock, squares, row.address))


def _draw(canvas: Canvas, stock: Stock, each: Face, x_mm: float, y_mm: float) -> None:
    """Draw one label with its top left corner there."""
    height = stock.page_h_mm

    def across(x: float) -> float:
        return (x_mm + x) * mm

    def up(y: float) -> float:
        return (height - y_mm - y) * mm

    path = canvas.beginPath()  # one path: rows that touch are filled as one shape, without hairlines
    for row, col, length in qr.runs(each.squares):
        path.rect(
            across(each.qr_x + col * each.module),
            up(each.qr_y + (row + 1) * each.module),
            length * each.module * mm,
            each.module * mm,
        )
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
    for word in each.words:
        canvas.setFont(word.font, word.size * mm)
        canvas.drawString(across(word.x), up(word.baseline), word.text)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(RULE_MM * mm)
    for rule in each.rules:
        canvas.line(across(rule.x), up(rule.y), across(rule.x + rule.length), up(rule.y))


def _foot(canvas: Canvas, stock: Stock, boat: str, page: int, pages: int) -> None:
    """Say in the waste below the labels what this is, where the sheet has any."""
    used = stock.top_mm + (stock.rows - 1) * stock.pitch_y_mm + stock.label_h_mm
    if stock.page_h_mm - used < 9:
        return
    said = [fonts.printable(boat), f"page {page} of {pages}", "print at 100 %, not fitted to the page"]
    canvas.setFont(fonts.REGULAR, 6.5)
    canvas.setFillGray(0.35)
    canvas.drawCentredString(stock.page_w_mm * mm / 2, 6 * mm, " · ".join(part for part in said if part))
