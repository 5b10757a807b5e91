"""Label sheets as the printer would see them: pixels made by pdftoppm, measured and read by others."""

import cv2
import numpy as np
import pytest
import zxingcpp

from refit.reports.labels import LabelRow, label_sheets, module_mm
from refit.reports.sheets import STOCKS
from tests import synthetic

AT = "http://kittiwake.local:8000/L/"
SIDE = 29  # modules of version 3, ISO/IEC 18004: 17 + 4 × 3
ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
FINE = 600
PX = 25.4 / FINE  # millimetres

# By hand, from the boxes and the usual margins: size of a label, corner of the first and of the last.
MEASURES = {
    "a4-21": ((63.5, 38.1), (7.25, 15.15), (139.25, 243.75), 21),
    "a4-24": ((70.0, 37.0), (0.0, 0.5), (140.0, 259.5), 24),
    "a4-65": ((38.1, 21.2), (4.75, 10.7), (167.15, 265.1), 65),
    "letter-30": ((66.675, 25.4), (4.7625, 12.7), (144.4625, 241.3), 30),
    "single-62x29": ((62.0, 29.0), (0.0, 0.0), (0.0, 0.0), 1),
    "single-50x30": ((50.0, 30.0), (0.0, 0.0), (0.0, 0.0), 1),
}


def code_of(number):
    spread = number * 7919 + 12345
    return "".join(ALPHABET[spread // 30**place % 30] for place in range(4))


def some_rows(count):
    return [
        LabelRow(AT + code_of(i), f"S{i + 1}", "Chart table locker", "Saloon, starboard", code_of(i))
        for i in range(count)
    ]


def labels_of(stock_key, dpi):
    """Print a full sheet (or six single labels) and cut it up; gives each row and its pixels."""
    stock = STOCKS[stock_key]
    rows = some_rows(stock.places if stock.places > 1 else 6)
    pages = synthetic.pages_of(label_sheets(rows, stock_key), dpi)
    for index, row in enumerate(rows):
        page, place = divmod(index, stock.places)
        yield row, np.ascontiguousarray(synthetic.cell_of(pages[page], stock_key, place, dpi))


@pytest.mark.parametrize("dpi", [200, 300])
def test_two_readers_read_the_printed_labels(dpi):
    by_opencv, labels = 0, 0
    detector = cv2.QRCodeDetector()
    for stock_key in STOCKS:
        for row, pixels in labels_of(stock_key, dpi):
            read = [code.text for code in zxingcpp.read_barcodes(pixels)]
            assert read == [row.address.upper()], (stock_key, row.code)
            by_opencv += detector.detectAndDecode(pixels)[0] == row.address.upper()
            labels += 1
    assert labels == 21 + 24 + 65 + 30 + 6 + 6
    assert by_opencv >= 0.95 * labels


def code_box(page, left, top, width, height):
    """Find the code's dark box in a label, in mm from the page's corner: left, top, right, bottom.

    The code is the part left of the first white gap four modules wide.
    """
    x0, y0 = round(left / PX), round(top / PX)
    dark = page[y0 : y0 + round(height / PX), x0 : x0 + round(width / PX)] < 128
    columns = np.flatnonzero(dark.any(axis=0))
    gaps = np.flatnonzero(np.diff(columns) > 3 * 0.5 / PX)
    last = columns[gaps[0]] if gaps.size else columns[-1]
    rows = np.flatnonzero(dark[:, columns[0] : last + 1].any(axis=1))
    return (
        (x0 + columns[0]) * PX,
        (y0 + rows[0]) * PX,
        (x0 + last + 1) * PX,
        (y0 + rows[-1] + 1) * PX,
    )


@pytest.mark.parametrize("stock_key", STOCKS)
def test_codes_lie_where_the_stock_says_to_a_tenth_of_a_millimetre(stock_key):
    (width, height), first, last, places = MEASURES[stock_key]
    stock = STOCKS[stock_key]
    assert stock.places == places
    assert np.allclose([stock.label_w_mm, stock.label_h_mm], [width, height], atol=0.03)
    rows = some_rows(places)
    (page,) = synthetic.pages_of(label_sheets(rows, stock_key), FINE)
    module = module_mm(stock_key, rows[0].address)
    offsets = []
    for place in range(places):
        across = place % stock.cols / max(stock.cols - 1, 1)
        along = place // stock.cols / max(stock.rows - 1, 1)
        left = first[0] + (last[0] - first[0]) * across
        top = first[1] + (last[1] - first[1]) * along
        box = code_box(page, left, top, width, height)
        assert box[2] - box[0] == pytest.approx(SIDE * module, abs=0.1)
        assert box[3] - box[1] == pytest.approx(SIDE * module, abs=0.1)
        # As much white above as below, so the code stands in the middle of the label's height.
        assert box[1] - top == pytest.approx(top + height - box[3], abs=0.2)
        offsets.append((box[0] - left, box[1] - top))
        assert_quiet(page, box, module)
    assert np.ptp(np.array(offsets), axis=0).max() <= 0.1
    inside = offsets[0]
    assert inside[0] >= 4 * module - 0.1
    assert inside[1] >= 4 * module - 0.1


def assert_quiet(page, box, module):
    """Check that four modules round the code are white, as ISO/IEC 18004 asks."""
    rim = 4 * module - 2 * PX
    left, top, right, bottom = (
        round(edge / PX) for edge in (box[0] - rim, box[1] - rim, box[2] + rim, box[3] + rim)
    )
    area = page[top:bottom, left:right].copy()
    inner = round((4 * module) / PX) - 4
    area[inner:-inner, inner:-inner] = 255
    assert area.min() > 250


def test_the_nudge_moves_right_and_down():
    (width, height), first, _, _ = MEASURES["letter-30"]
    rows = some_rows(1)
    (plain,) = synthetic.pages_of(label_sheets(rows, "letter-30"), FINE)
    (moved,) = synthetic.pages_of(label_sheets(rows, "letter-30", nudge_x_mm=1.5, nudge_y_mm=-0.8), FINE)
    before = code_box(plain, *first, width, height)
    after = code_box(moved, *first, width, height)
    assert np.subtract(after, before) == pytest.approx([1.5, -0.8, 1.5, -0.8], abs=0.1)


def test_the_24_up_sheet_keeps_its_ink_off_the_white_edge_of_office_printers():
    (page,) = synthetic.pages_of(label_sheets(some_rows(24), "a4-24", boat="Kittiwake of Mylor"), 200)
    rim = round(4.2 / 25.4 * 200)
    page[rim:-rim, rim:-rim] = 255
    assert page.min() > 250
