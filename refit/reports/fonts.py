"""The typefaces of everything printed: Noto Sans for words, IBM Plex Mono for codes.

Both come from packages, so nothing depends on what the computer has installed. Noto Sans ships as one
variable file, of which reportlab draws only the regular weight; the bold is cut from it once a process and
kept in reportlab's own register of fonts. Latin, Greek and Cyrillic print; other scripts become "?".
"""

import io
import threading
import unicodedata

import fontpkg
from fontTools import subset
from fontTools.ttLib import TTFont as FontFile
from fontTools.varLib import instancer
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR = "RefitSans"
BOLD = "RefitSansBold"
MONO = "RefitMonoBold"

CAP_HEIGHT = {REGULAR: 0.714, BOLD: 0.714, MONO: 0.698}  # of the size; from the OS/2 table of each font

_SCRIPTS = (
    range(0x20, 0x250),  # Latin
    range(0x300, 0x530),  # accents, Greek, Cyrillic
    range(0x1E00, 0x2070),  # more Latin and Greek, punctuation
    range(0x20A0, 0x20C1),  # currencies
    range(0x2100, 0x2300),  # letter-like, fractions, arrows, signs
)
_registering = threading.Lock()


def use_fonts() -> None:
    """Make the three fonts known to reportlab; does nothing the second time."""
    with _registering:
        known = pdfmetrics.getRegisteredFontNames()
        if REGULAR not in known:
            pdfmetrics.registerFont(TTFont(REGULAR, str(fontpkg.path("noto-sans", weight=400))))
        if MONO not in known:
            pdfmetrics.registerFont(TTFont(MONO, str(fontpkg.path("ibm-plex-mono", weight=700))))
        if BOLD not in known:
            pdfmetrics.registerFont(TTFont(BOLD, _bold()))


def _bold() -> io.BytesIO:
    """Cut the bold of our scripts out of the variable font."""
    with FontFile(fontpkg.path("noto-sans", weight=400), lazy=True) as font:
        for table in (
            "GSUB",
            "GPOS",
            "GDEF",
            "HVAR",
            "MVAR",
            "STAT",
        ):  # unused here; without them it is quick
            if table in font:
                del font[table]
        options = subset.Options(
            layout_features=[], hinting=False, notdef_outline=True, name_IDs=[1, 2, 4, 6]
        )
        cutter = subset.Subsetter(options)
        cutter.populate(unicodes=[point for block in _SCRIPTS for point in block])
        cutter.subset(font)
        bold = instancer.instantiateVariableFont(font, {"wght": 700, "wdth": 100}, inplace=True)
        for record in bold["name"].names:  # two fonts of one name in a file confuse some printers
            record.string = record.toUnicode().replace("Regular", "Bold")
        kept = io.BytesIO()
        bold.save(kept)
    kept.seek(0)
    return kept


def printable(text: str) -> str:
    """Fold text to one line of characters that the fonts can draw."""
    use_fonts()
    glyphs = pdfmetrics.getFont(BOLD).face.charToGlyph
    line = " ".join(unicodedata.normalize("NFC", text).split())
    shown = (char for char in line if unicodedata.category(char) not in ("Cc", "Cf", "Cs"))
    return "".join(char if ord(char) in glyphs else "?" for char in shown)


def width(text: str, font: str, size: float) -> float:
    """Measure a line of text, in the unit of its size."""
    use_fonts()
    return float(pdfmetrics.stringWidth(text, font, size))
