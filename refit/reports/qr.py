"""The QR code of a label: its squares and how large they can be printed.

Follows ISO/IEC 18004: a symbol of version v has 17 + 4v modules a side, and 4 modules of white all round.
Decides nothing about words or places on the sheet.
"""

import math

from qrcode.constants import ERROR_CORRECT_Q
from qrcode.exceptions import DataOverflowError
from qrcode.main import QRCode
from qrcode.util import MODE_ALPHA_NUM, QRData

from refit.reports.sheets import Stock

QUIET_MODULES = 4
SMALLEST_MODULE_MM = 0.5  # four dots of a 200 dpi label printer; below it phones fail in a dark locker
GUARD_MM = 0.5  # the code with its white rim keeps this far from the cut, because sheets feed a little askew
ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")

Matrix = list[list[bool]]


class AddressProblem(ValueError):
    """An address that no label can carry."""


def matrix(address: str) -> Matrix:
    """Encode an address in capitals, at error correction Q, in the smallest version that holds it."""
    text = address.upper()
    strange = sorted(set(text) - ALPHANUMERIC)
    if not text or strange:
        named = " ".join(strange) or "nothing"
        raise AddressProblem(
            f"The address “{address[:80]}” can't go on a label: it holds {named}. "
            "Use letters, digits, and . - / : only."
        )
    code = QRCode(error_correction=ERROR_CORRECT_Q, border=0)
    code.add_data(QRData(text, mode=MODE_ALPHA_NUM), optimize=0)
    try:
        code.make(fit=True)
    except (DataOverflowError, ValueError) as error:
        raise AddressProblem(f"The address is {len(text)} characters long: use a shorter one.") from error
    return [[bool(cell) for cell in row] for row in code.modules]


def version(squares: Matrix) -> int:
    """Tell the version from the number of modules a side."""
    return (len(squares) - 17) // 4


def modules_with_quiet(squares: Matrix) -> int:
    """Count the modules a side, the white rim included."""
    return len(squares) + 2 * QUIET_MODULES


def runs(squares: Matrix) -> list[tuple[int, int, int]]:
    """List the dark runs as (row, first column, length), so that a row is drawn without seams."""
    found = []
    for y, row in enumerate(squares):
        start = None
        for x, dark in enumerate([*row, False]):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                found.append((y, start, x - start))
                start = None
    return found


def best_module_mm(stock: Stock, side: int) -> float:
    """Give the largest module, in mm, for a code of so many modules a side beside the words of a label.

    Rounded down to a hundredth; zero or less where the words alone fill the label.
    """
    width, height = stock.label_w_mm, stock.label_h_mm
    words = stock.text_mm + stock.edge_mm
    limits = (
        (height - 2 * GUARD_MM) / (side + 2 * QUIET_MODULES),
        (height - 2 * stock.edge_mm) / side,
        (width - GUARD_MM - words) / (side + 2 * QUIET_MODULES),
        (width - stock.edge_mm - words) / (side + QUIET_MODULES),
    )
    return math.floor(min(limits) * 100 + 1e-9) / 100
