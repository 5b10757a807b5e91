"""Words in a drawing on screen: safe in SVG, and cut where they would run out of their place.

Which letters a screen has is not known here, so widths are those of the widest of the page's typefaces.
"""

import unicodedata
from xml.sax.saxutils import escape

from refit.reports.workbook import clean

LONGEST = 400  # characters; nobody reads more on one line
_NARROW = {
    **dict.fromkeys("ijlI'|", 0.3),
    **dict.fromkeys(".,:;! ", 0.33),
    **dict.fromkeys('ftr()[]-/\\"', 0.42),
    **dict.fromkeys("sczJ", 0.56),
    **dict.fromkeys("mMOQ%@", 0.98),
    **dict.fromkeys("wWw–…", 1.0),
}


def one_line(text: str) -> str:
    """Return the text on one line, without characters that a drawing cannot hold."""
    return " ".join(clean(text).split())


def escaped(text: str) -> str:
    """Return the text on one line as it may stand in SVG, between tags or in an attribute."""
    return escape(one_line(text), {'"': "&quot;", "'": "&#39;"})


def wide(text: str, size: float) -> float:
    """Return how wide a line is at most, in the unit of its size."""
    return size * sum(_letter(char) for char in text)


def shortened(text: str, size: float, room: float) -> str:
    """Return the text on one line, cut with an ellipsis where it is wider than the room."""
    line = one_line(text)[:LONGEST]
    if wide(line, size) <= room:
        return line
    left = room - wide("…", size)
    at = 0
    for char in line:
        left -= size * _letter(char)
        if left < 0:
            break
        at += 1
    return line[:at].rstrip() + "…" if at else ""


def _letter(char: str) -> float:
    if char in _NARROW:
        return _NARROW[char]
    if char < "\u0250":
        return 0.75 if char.isupper() else 0.65
    if unicodedata.combining(char):
        return 0.0
    return 1.05 if unicodedata.east_asian_width(char) in "WF" else 0.8
