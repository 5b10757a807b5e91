"""The numbers under a maker's barcode (GTIN: EAN-8, UPC-A, EAN-13, GTIN-14), checked by their last figure.

Decides what is such a number and in which one form it is kept. Does not know which part it belongs to.
"""

import re

from stdnum import ean

from .problems import Problem, shown

BETWEEN = re.compile(r"[\s\-\u2010-\u2015]+")


class BarcodeProblem(Problem):
    """A number that is no barcode; `code` is "length" or "check"."""


def gtin(text: str) -> str:
    """Return the number of a barcode as it is kept: figures only, twelve of them with a nought before.

    UPC-A has twelve figures, and scanners give it with or without the nought that makes it an EAN-13.
    Raise `BarcodeProblem` if the length or the check figure is wrong.
    """
    figures = BETWEEN.sub("", text)
    if not (figures.isascii() and figures.isdecimal()) or len(figures) not in (8, 12, 13, 14):
        raise BarcodeProblem(
            f"{shown(text)} is not a barcode number; it has 8, 12, 13 or 14 figures.", "length"
        )
    if not ean.is_valid(figures):
        raise BarcodeProblem(
            f"{shown(text)} is not a barcode number: its last figure does not fit. Scan or read it again.",
            "check",
        )
    return figures.zfill(13) if len(figures) == 12 else figures


def is_gtin(text: str) -> bool:
    """Say whether a text is the number of a barcode."""
    try:
        gtin(text)
    except BarcodeProblem:
        return False
    return True
