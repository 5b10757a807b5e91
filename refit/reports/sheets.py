"""Label stock: where every label lies on its sheet, in millimetres.

Decides geometry only. What is printed on a label is decided in label_face.

The sizes of the labels are what the boxes say; the margins and gaps are common practice (no standard fixes
them): labels of one row and one column are evenly spaced and the whole block lies in the middle of the page.
Printers differ by a millimetre or so, which is what the nudge is for.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Stock:
    """One kind of label sheet; every length in millimetres, measured from the top left of the page."""

    key: str
    name: str
    page_w_mm: float
    page_h_mm: float
    cols: int
    rows: int
    label_w_mm: float
    label_h_mm: float
    left_mm: float
    top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float
    edge_mm: float  # no ink nearer to the label's edge than this
    text_mm: float  # the least width kept for words beside the code

    @property
    def places(self) -> int:
        """Count the labels on one sheet."""
        return self.cols * self.rows

    def cell(self, index: int) -> tuple[float, float]:
        """Give the top left corner of a label, counted from 0 along the rows."""
        if not 0 <= index < self.places:
            raise IndexError(f"{self.name} has no place {index}")
        row, col = divmod(index, self.cols)
        return self.left_mm + col * self.pitch_x_mm, self.top_mm + row * self.pitch_y_mm


def _single(key: str, width: float, height: float, text: float) -> Stock:
    name = f"Single label, {width:g} × {height:g} mm"
    return Stock(key, name, width, height, 1, 1, width, height, 0, 0, width, height, 2.0, text)


_ALL = (
    # 3 × 63.5 with gaps of 2.5, 7 × 38.1 without: centred, 7.25 left and right, 15.15 above and below.
    Stock(
        "a4-21", "A4, 21 labels, 63.5 × 38.1 mm", 210, 297, 3, 7, 63.5, 38.1, 7.25, 15.15, 66, 38.1, 2.5, 27
    ),
    # 3 × 70 fill the width; office printers leave some 4 mm of the page white, so the ink keeps well inside.
    Stock("a4-24", "A4, 24 labels, 70 × 37 mm", 210, 297, 3, 8, 70, 37, 0, 0.5, 70, 37, 5.0, 28),
    # 5 × 38.1 with gaps of 2.5, 13 × 21.2 without: centred, 4.75 and 10.7.
    Stock(
        "a4-65", "A4, 65 labels, 38.1 × 21.2 mm", 210, 297, 5, 13, 38.1, 21.2, 4.75, 10.7, 40.6, 21.2, 1.6, 14
    ),
    # In inches: 2 5/8 × 1, gaps of 1/8, margins of 3/16 and 1/2.
    Stock(
        "letter-30",
        "US Letter, 30 labels, 66.7 × 25.4 mm",
        215.9,
        279.4,
        3,
        10,
        66.675,
        25.4,
        4.7625,
        12.7,
        69.85,
        25.4,
        2.0,
        27,
    ),
    _single("single-62x29", 62, 29, 27),
    _single("single-50x30", 50, 30, 21),
)

STOCKS: dict[str, Stock] = {stock.key: stock for stock in _ALL}
