"""What a printed file holds, as other people's programs read it."""

import html
import re
import subprocess
from dataclasses import dataclass

from tests.tools import need

# Long, hostile and foreign: each must print as the words that it is, or be cut, and never leave its column.
HOSTILE = [
    "<script>alert(1)</script>",
    "=1+1",
    "x" * 120,
    "Ångström",
    "Ανταλλακτικό τροχαλίας",
    "Сальник руля",
    "<b>&amp;</b>",
    "a\x00b\ud800c",
]


@dataclass(frozen=True)
class Word:
    """One word on paper: its page from 1, and its box in pt from the top left."""

    page: int
    left: float
    top: float
    right: float
    bottom: float
    text: str


def words_of(pdf: bytes) -> list[Word]:
    """Return every word with its place, as poppler finds it."""
    read = subprocess.run([need("pdftotext"), "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    found, page = [], 0
    for line in read.stdout.decode().splitlines():
        page += "<page " in line
        if word := re.search(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">(.*)</word>', line):
            box = [float(side) for side in word.groups()[:4]]
            found.append(Word(page, *box, html.unescape(word[5])))
    return found


def outside(pdf: bytes, width: float, height: float, margin: float) -> list[Word]:
    """Return the words that lie in the margins; a box of poppler's is taller than its letters by half their height."""
    return [
        word
        for word in words_of(pdf)
        if word.left < margin - 1
        or word.right > width - margin + 1
        or word.top < margin - 6
        or word.bottom > height - margin + 6
    ]
