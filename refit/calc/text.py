"""Text as people type it: cleaning, folding for finding, natural order, and the quick list of places.

Decides what may be kept, what counts as the same when finding, and how marks are made. Does not know which
places a boat has already.
"""

import re
import unicodedata

from .problems import Problem, shown

# Direction controls and characters without width: nobody sees them, and they make two equal names differ.
UNSEEN = re.compile("[\u200b\u200e\u200f\u061c\u202a-\u202e\u2060\u2066-\u2069\ufeff]")
BLANKS = re.compile("[ \u00a0\u1680\u2000-\u200a\u202f\u205f\u3000]+")
LINE_ENDS = re.compile("\r\n|[\r\u0085\u2028\u2029]")
SURROGATE = re.compile("[\ud800-\udfff]")
# U+FFFE and U+FFFF are refused with the controls, since no spreadsheet file can hold them.
CONTROL = re.compile("[\u0000-\u001f\u007f-\u009f\u2028\u2029\ufffe\uffff]")
CONTROL_IN_LINES = re.compile("[\u0000-\u0008\u000b-\u001f\u007f-\u009f\ufffe\uffff]")

# Letters that Unicode does not take apart into a plain letter and an accent.
PLAIN_LETTERS = str.maketrans(
    {"ø": "o", "æ": "ae", "œ": "oe", "đ": "d", "ð": "d", "þ": "th", "ł": "l", "ħ": "h", "ı": "i", "⁄": "/"}
)
LEFT_OUT = re.compile(r"[\s_\-\u00ad\u2010-\u2015\u2212]+")
TIMES = re.compile(r"(?<=\d)[×*∗✕✖](?=\d)")

RANGE = re.compile(r"([^\W\d_]*)([0-9]+)\s*[-\u2010-\u2015]\s*([^\W\d_]*)([0-9]+)")
MARK_AND_NAME = re.compile(r"([^\W\d_]{1,3}[0-9]{1,3}[^\W\d_]?)\s+(.*[^\W\d_].*)")
MOST_PLACES = 200


class TextProblem(Problem):
    """Text that cannot be kept; `code` is "nul", "control" or "surrogate"."""


def clean(text: str) -> str:
    """Return one line of text fit to keep: composed (NFC), without blanks at the ends or in runs."""
    kept = UNSEEN.sub("", text).strip(" \t\r\n\u00a0")
    _refuse(kept, CONTROL)
    return BLANKS.sub(" ", unicodedata.normalize("NFC", kept)).strip(" ")


def clean_multiline(text: str) -> str:
    """Return several lines fit to keep: as typed, without blanks at line ends or empty lines at the ends."""
    kept = UNSEEN.sub("", LINE_ENDS.sub("\n", text))
    _refuse(kept, CONTROL_IN_LINES)
    lines = [line.rstrip() for line in unicodedata.normalize("NFC", kept).split("\n")]
    return "\n".join(lines).strip("\n")


def fold(text: str) -> str:
    """Return text as finding compares it: no case, accents, blanks or hyphens; × between figures is x.

    Underscores go too. Dots and slashes stay, since part numbers may differ by them alone.
    """
    plain = text
    for _ in range(2):  # taking letters apart can bring out new capitals, and the other way round
        plain = unicodedata.normalize("NFKD", plain.casefold())
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    plain = LEFT_OUT.sub("", UNSEEN.sub("", plain.translate(PLAIN_LETTERS)))
    return TIMES.sub("x", plain)


def natural_key(mark: str) -> str:
    """Return a key that sorts marks as people count: S2, S10, S10a. Runs of figures are padded to 8."""
    return re.sub(r"[0-9]+", lambda run: run[0].lstrip("0").zfill(8), mark.strip().casefold())


def expand_marks(text: str) -> list[tuple[str, str]]:
    """Return (mark, name) for each place in a quick list such as "P1-P6, S1-S6, Forepeak".

    A range becomes its marks. A short word with a figure is a mark; "S3 Saloon seat" is a mark and a name;
    anything else is a name, and its mark is made from its letters. Raise ValueError, naming the item, for
    what is not clear.
    """
    places: list[tuple[str, str]] = []
    for item in re.split(r"[,;\r\n]", text):
        kept = clean(item)
        if kept:
            places += _expand_item(kept)
        if len(places) > MOST_PLACES:
            raise ValueError(f"That makes more than {MOST_PLACES} places; add them in smaller lots.")
    given = [mark for mark, _ in places if mark]
    used: set[str] = set()
    for mark in given:
        if mark.casefold() in used:
            raise ValueError(f"{shown(mark)} is in the list twice.")
        used.add(mark.casefold())
    marked = []
    for mark, name in places:
        chosen = mark or _mark_for(name, used)
        used.add(chosen.casefold())
        marked.append((chosen, name))
    return marked


def _refuse(text: str, control: re.Pattern[str]) -> None:
    if "\0" in text:
        raise TextProblem("This holds a NUL character; type it again.", "nul")
    if SURROGATE.search(text):
        raise TextProblem("This holds half a character; type it again.", "surrogate")
    if control.search(text):
        raise TextProblem("This holds a control character or a line break; type it again.", "control")


def _expand_item(item: str) -> list[tuple[str, str]]:
    found = RANGE.fullmatch(item)
    if found:
        return [(mark, "") for mark in _expand_range(item, *found.groups())]
    if len(item) <= 6 and " " not in item and any(letter.isdecimal() for letter in item):
        return [(item, "")]
    both = MARK_AND_NAME.fullmatch(item)
    if both:
        return [(both[1], both[2])]
    if not any(letter.isalpha() for letter in item):
        raise ValueError(f"{shown(item)} has no letters to make a mark from; write P1-P6, S3 or a name.")
    return [("", item)]


def _expand_range(item: str, prefix: str, first: str, other: str, last: str) -> list[str]:
    if other and other.casefold() != prefix.casefold():
        raise ValueError(f"{shown(item)} starts and ends with different letters; write P1-P6.")
    if max(len(first), len(last)) > 6:
        raise ValueError(f"{shown(item)} is too long a number for a mark.")
    start, end = int(first), int(last)
    if end < start:
        raise ValueError(f"{shown(item)} runs backwards; write the smaller number first.")
    if end - start >= MOST_PLACES:
        raise ValueError(f"{shown(item)} makes more than {MOST_PLACES} places; add them in smaller lots.")
    width = len(first) if first.startswith("0") else 0
    return [f"{prefix}{number:0{width}d}" for number in range(start, end + 1)]


def _mark_for(name: str, used: set[str]) -> str:
    """Make a mark: the initials of several words, or the first letters of one; a number makes it unique."""
    words = ["".join(letter for letter in word if letter.isalpha()) for word in name.split()]
    words = [word for word in words if word]
    letters = "".join(word[0] for word in words) if len(words) > 1 else words[0]
    stem = letters[:3].upper()
    mark, number = stem, 2
    while mark.casefold() in used:
        mark, number = f"{stem}{number}", number + 1
    return mark
