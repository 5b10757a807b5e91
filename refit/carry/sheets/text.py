"""Reading csv and tsv: which encoding and which separator, found from the content.

Decides by marks and by what decodes (UTF-8, UTF-16, else Windows-1252), and by the separator that cuts most lines
alike. A number stays text here: only a column of numbers says which mark is the decimal one.
"""

import csv
import io
import re
from collections import Counter

from refit.calc.text import SURROGATE, UNSEEN
from refit.carry.sheets.book import BLANK_ROWS, MOST_COLUMNS, MOST_ROWS, Book, Row, Sheet, SheetProblem, Value

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "upright strokes"}
CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
BLANKS = re.compile(r"\s+")
# Our own csv sets a quote before what a spreadsheet would run; it comes off again.
HARMLESS = re.compile(r"'(?=[=+\-@\t\r\n＝＋－＠])")
SAID = re.compile(r"sep=(.)\r?\n?")
LONGEST_ROW = 1_000_000  # characters; a row of all that can be kept has a tenth of it


def read_text(data: bytes, name: str) -> Book:
    """Return a text file as a book of one sheet."""
    text, encoding = _decoded(data)
    if len(CONTROLS.findall(text[:100_000])) > len(text[:100_000]) // 500:
        raise SheetProblem("This is not a spreadsheet. Save it as xlsx or csv.", "not_text")
    said = SAID.match(text)
    separator = said[1] if said else _separator(text)
    if said:
        text = text[said.end() :]
    sheet = Sheet(_title(name))
    book = Book(
        name, [sheet], [f"Read as {encoding} with {SEPARATORS.get(separator, separator)} between columns."]
    )
    blank = 0
    offset = 1 if said else 0
    csv.field_size_limit(200_000)
    lines = _Lines(text)
    reader = csv.reader(lines, delimiter=separator)
    number = 0
    try:
        for number, fields in enumerate(reader, start=1):
            lines.begin()
            cells = tuple(clean_cell(cell) for cell in fields[:MOST_COLUMNS])
            if any(cell is not None for cell in cells):
                blank = 0
                sheet.rows.append(Row(number + offset, cells))
            else:
                blank += 1
            if blank >= BLANK_ROWS:
                book.notes.append(f"Reading stopped after {BLANK_ROWS:,} empty rows, at row {number:,}.")
                break
            if len(sheet.rows) > MOST_ROWS:
                raise SheetProblem(f"The file has more than {MOST_ROWS:,} rows. Split it.", "too_many_rows")
    except csv.Error as problem:
        raise SheetProblem(f"Row {number + 1} cannot be read: {problem}.", "broken") from None
    return book


class _Lines:
    """Hands lines to the reader of one row, and refuses before a row of a million columns is taken apart."""

    def __init__(self, text: str) -> None:
        self.lines, self.taken, self.number = io.StringIO(text, newline=""), 0, 1

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        line = next(self.lines)
        self.taken += len(line)
        if self.taken > LONGEST_ROW:
            raise SheetProblem(
                f"Row {self.number:,} is longer than any row of a spreadsheet; this is no csv file.",
                "long_row",
            )
        return line

    def begin(self) -> None:
        """Begin the next row."""
        self.taken, self.number = 0, self.number + 1


def clean_cell(text: str) -> Value:
    """Return a cell's words on one line, without what nobody sees; None if there are none."""
    kept = UNSEEN.sub("", SURROGATE.sub("", CONTROLS.sub("", HARMLESS.sub("", text, count=1))))
    return BLANKS.sub(" ", kept).strip() or None


def _decoded(data: bytes) -> tuple[str, str]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _utf16(data, "utf-16")
    if data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    half = data[:4000]
    evens, odds = half[::2].count(0), half[1::2].count(0)
    if max(evens, odds) > len(half) // 6:
        return _utf16(data, "utf-16-be" if evens > odds else "utf-16-le")
    try:
        return data.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), "Windows-1252"


def _utf16(data: bytes, encoding: str) -> tuple[str, str]:
    try:
        return data[: len(data) // 2 * 2].decode(encoding), "UTF-16"
    except UnicodeDecodeError:
        raise SheetProblem("This is not a spreadsheet. Save it as xlsx or csv.", "not_text") from None


def _separator(text: str) -> str:
    """Return the separator that cuts the first lines into the most columns, most of them alike."""
    best, most = ",", 0.0
    head = "\n".join(text[:200_000].splitlines()[:60])
    for separator in SEPARATORS:
        try:
            rows = [row for row in csv.reader(io.StringIO(head), delimiter=separator) if any(row)]
        except csv.Error:
            continue
        if not rows:
            continue
        width, alike = Counter(len(row) for row in rows).most_common(1)[0]
        score = alike / len(rows) * min(width - 1, 12)
        if score > most:
            best, most = separator, score
    return best


def _title(name: str) -> str:
    stem = re.sub(r"\.\w{1,5}$", "", name.replace("\\", "/").rsplit("/", 1)[-1])
    return (clean_cell(stem) or "Sheet")[:31]  # type: ignore[index, return-value]
