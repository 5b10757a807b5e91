"""Reading xlsx, which may be hostile: every part is measured before any of it is parsed.

A zip bomb, an entity, another encoding or a foreign kind of file is refused. Of a formula the stored value is taken;
macros are never looked at. Merged cells: words and days count for every row they cover, a figure for the first alone.
"""

import re
import zipfile
import zlib
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import range_boundaries

from refit.carry.sheets.book import (
    BLANK_ROWS,
    MOST_COLUMNS,
    MOST_ROWS,
    MOST_SHEETS,
    Book,
    Row,
    Sheet,
    SheetProblem,
    Value,
)
from refit.carry.sheets.text import clean_cell

MOST_UNPACKED = 150 * 1024 * 1024
MOST_RATIO = 400  # a real sheet packs to a tenth, a million empty rows to a hundredth
MOST_PARTS = 2000
MOST_MERGED = 20_000
MOST_TAGS = 12_000_000  # in all parts: a hundred thousand rows of thirty cells
MOST_IN_ROW = 500_000  # tags of one row, or of a part without rows: a reader holds them all at once
MOST_IN_LIST = 4_000_000  # tags of a list of words, of formulas, of notes
MOST_LETTERS = 100_000_000  # a long word stands in the file once, however many cells show it
LONGEST_TITLE = 80
PIECE = 1 << 18
OVERLAP = 200
ENTITY = re.compile(rb"<!\s*(DOCTYPE|ENTITY)", re.IGNORECASE)
ENCODING = re.compile(rb"""encoding\s*=\s*["']([\w.\-]+)""")
FORMULA = re.compile(rb"<f[\s>/]")
# None of these goes back over what it passed: a megabyte of blanks or of "<f " takes no longer than any other.
BARE_FORMULA = re.compile(
    rb"<f(?:\s[^<>]*+|/)?+>(?:(?<=/>)|[^<]*+</f>)\s*+(?:<v\s*+/>|<v>\s*+</v>)?+\s*+</c>"
)
MERGED = re.compile(rb'<mergeCell\s[^<>]*?ref="([A-Z]{1,3}[0-9]{1,7}:[A-Z]{1,3}[0-9]{1,7})"')
ROW = re.compile(rb"<(?:x:)?row[\s/>]")
NO_TAGS = re.compile(rb"<!--|<!\[CDATA\[")  # what looks like a row in there is none
LISTS = re.compile(
    r"xl/(?:sharedStrings|calcChain|comments|threadedComments|pivotCache|externalLinks|drawings|tables)"
)
BOMB = "This file unpacks to far more than a spreadsheet holds; it is not opened."
BROKEN = "This spreadsheet is damaged. Open it, save it anew as xlsx, and try again."


@dataclass
class _Scan:
    """What a look through the packed parts found."""

    formulas: int = 0
    bare: int = 0
    macros: bool = False
    tags: int = 0
    merged: dict[str, list[tuple[int, int, int, int]]] = field(default_factory=dict)


class _Held:
    """Counts the tags of a part that a reader must hold at once, and refuses too many before they are parsed."""

    def __init__(self, name: str) -> None:
        self.by_row = name.startswith("xl/worksheets/")
        self.most = MOST_IN_LIST if LISTS.match(name) else MOST_IN_ROW
        self.tags = 0

    def take(self, piece: bytes) -> None:
        """Count one piece; a row lets go of what stood before it."""
        self.by_row = self.by_row and not NO_TAGS.search(piece)
        rows = [found.start() for found in ROW.finditer(piece)] if self.by_row else []
        self.tags += piece.count(b"<", 0, rows[0] if rows else len(piece))
        if self.tags > self.most:
            raise SheetProblem(BOMB, "bomb")
        if rows:
            self.tags = piece.count(b"<", rows[-1])


def read_xlsx(data: bytes, name: str) -> Book:
    """Return the sheets of an xlsx file."""
    scan = _scan(data)
    try:
        file = load_workbook(BytesIO(data), read_only=True, data_only=True, keep_links=False)
    except SheetProblem:
        raise
    except Exception:  # the library raises whatever a damaged part leads it to
        raise SheetProblem(BROKEN, "broken") from None
    try:
        return _book(file, name, scan)
    except SheetProblem:
        raise
    except Exception:
        raise SheetProblem(BROKEN, "broken") from None
    finally:
        file.close()


def _scan(data: bytes) -> _Scan:
    try:
        archive = zipfile.ZipFile(BytesIO(data))
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        raise SheetProblem(BROKEN, "broken") from None
    parts = archive.infolist()
    names = {part.filename for part in parts}
    if "mimetype" in names and "content.xml" in names:
        raise SheetProblem("This is an OpenDocument file. Save it as xlsx, and try again.", "opendocument")
    if "xl/workbook.xml" not in names or "[Content_Types].xml" not in names:
        raise SheetProblem("This is no xlsx spreadsheet, whatever its name says.", "not_xlsx")
    if len(parts) > MOST_PARTS or len(names) != len(parts):
        raise SheetProblem(BOMB, "bomb")
    if sum(part.file_size for part in parts) > MOST_UNPACKED:
        raise SheetProblem(BOMB, "bomb")
    scan, total = _Scan(), 0
    for part in parts:
        if part.flag_bits & 1:
            raise SheetProblem("This file has a password. Save it without one.", "password")
        if part.filename.lower().endswith(("vbaproject.bin", ".vba")):
            scan.macros = True
        if part.filename.lower().endswith((".xml", ".rels", ".vml")):
            total = _look_through(archive, part, scan, total)
    return scan


def _look_through(archive: zipfile.ZipFile, part: zipfile.ZipInfo, scan: _Scan, total: int) -> int:
    """Unpack one part piece by piece, keeping nothing; return what all parts so far come to."""
    own, tail, is_sheet = 0, b"", part.filename.startswith("xl/worksheets/")
    refs: list[bytes] = []
    held = _Held(part.filename)
    try:
        with archive.open(part) as stream:
            while piece := stream.read(PIECE):
                own += len(piece)
                total += len(piece)
                if total > MOST_UNPACKED or (
                    own > 4 * 1024 * 1024 and own > MOST_RATIO * max(part.compress_size, 1)
                ):
                    raise SheetProblem(BOMB, "bomb")
                seen = tail + piece
                scan.tags += piece.count(b"<")
                if scan.tags > MOST_TAGS:
                    raise SheetProblem(BOMB, "bomb")
                held.take(seen)
                if own == len(piece):
                    _check_encoding(seen)
                if ENTITY.search(seen):
                    raise SheetProblem(
                        "This file holds XML that no spreadsheet writes; it is not opened.", "entity"
                    )
                if is_sheet:
                    # What lies wholly in the overlap was counted with the piece before.
                    scan.formulas += len(FORMULA.findall(seen)) - len(FORMULA.findall(tail))
                    scan.bare += len(BARE_FORMULA.findall(seen)) - len(BARE_FORMULA.findall(tail))
                    refs += MERGED.findall(seen)
                    if len(refs) > 2 * MOST_MERGED:
                        raise SheetProblem("This sheet has too many merged cells to be read.", "merged")
                tail = seen[-OVERLAP:]
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError):
        raise SheetProblem(BROKEN, "broken") from None
    if refs:
        scan.merged[part.filename] = [range_boundaries(ref.decode()) for ref in dict.fromkeys(refs)]
    return total


def _check_encoding(start: bytes) -> None:
    said = ENCODING.search(start[:200])
    plain = not said or said[1].lower() in (b"utf-8", b"us-ascii", b"ascii")
    if not plain or b"\x00" in start[:200] or start.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise SheetProblem("This file holds XML that no spreadsheet writes; it is not opened.", "entity")


def _book(file: Any, name: str, scan: _Scan) -> Book:
    book = Book(name)
    book.date_1904 = file.epoch.year == 1904
    if len(file.worksheets) > MOST_SHEETS:
        raise SheetProblem(f"The file has more than {MOST_SHEETS} sheets. Split it.", "too_many_sheets")
    rows, cells = 0, _Cells()
    for page in file.worksheets:
        page.reset_dimensions()
        path = str(page._worksheet_path).lstrip("/")
        sheet = _sheet(page, book, cells, scan.merged.get(path, []))
        rows += len(sheet.rows)
        if rows > MOST_ROWS:
            raise SheetProblem(f"The file has more than {MOST_ROWS:,} rows. Split it.", "too_many_rows")
        book.sheets.append(sheet)
    _note(book, scan)
    return book


def _note(book: Book, scan: _Scan) -> None:
    if scan.formulas:
        book.notes.append(f"{scan.formulas:,} cells hold formulas; the values stored with them were taken.")
    if scan.bare:
        book.notes.append(
            f"{scan.bare:,} formulas have no value stored and count as empty. Open the file in your spreadsheet "
            "program and save it, and they will have."
        )
    if scan.macros:
        book.notes.append("The file holds macros; they were left alone.")
    if scan.merged:
        book.notes.append(
            "Some cells are merged: words and days count for every row they cover, a figure for the first alone."
        )
    if book.date_1904:
        book.notes.append("Days in this file are counted from 1904, and were read so.")


def _sheet(page: Any, book: Book, read: "_Cells", merged: list[tuple[int, int, int, int]]) -> Sheet:
    sheet = Sheet(str(clean_cell(page.title[:LONGEST_TITLE]) or "Sheet"))
    blank, fill = 0, _Fill(merged)
    for number, cells in enumerate(page.iter_rows(max_col=MOST_COLUMNS, values_only=True), start=1):
        values = fill.filled(number, [read.value(cell) for cell in cells])
        while values and values[-1] is None:
            values.pop()
        if values:
            blank = 0
            sheet.rows.append(Row(number, tuple(values)))
        else:
            blank += 1
        if blank >= BLANK_ROWS:
            book.notes.append(
                f"{sheet.title}: reading stopped after {BLANK_ROWS:,} empty rows, at row {number:,}."
            )
            break
        if len(sheet.rows) > MOST_ROWS:
            raise SheetProblem(f"The file has more than {MOST_ROWS:,} rows. Split it.", "too_many_rows")
    return sheet


class _Cells:
    """Reads cells, and refuses before their words together fill the memory."""

    def __init__(self) -> None:
        self.letters = 0

    def value(self, cell: Any) -> Value:
        """Return what stands in a cell."""
        if isinstance(cell, str):
            self.letters += len(cell)
            if self.letters > MOST_LETTERS:
                raise SheetProblem(BOMB, "bomb")
        return _value(cell)


class _Fill:
    """Gives the rows below the first of a merged cell its words or day."""

    def __init__(self, merged: list[tuple[int, int, int, int]]) -> None:
        self.starts: dict[int, list[tuple[int, int]]] = {}
        for left, top, _, bottom in merged:
            if bottom > top and left <= MOST_COLUMNS:
                self.starts.setdefault(top, []).append((left - 1, bottom))
        self.open: dict[int, tuple[Value, int]] = {}

    def filled(self, number: int, values: list[Value]) -> list[Value]:
        if not self.starts and not self.open:
            return values
        for column, (value, bottom) in list(self.open.items()):
            if number > bottom:
                del self.open[column]
                continue
            while len(values) <= column:
                values.append(None)
            if values[column] is None:
                values[column] = value
        for column, bottom in self.starts.pop(number, []):
            value = values[column] if column < len(values) else None
            if isinstance(value, (str, date)):
                self.open[column] = (value, bottom)
        return values


def _value(cell: Any) -> Value:
    if cell is None:
        return None
    if isinstance(cell, str):
        return clean_cell(cell)
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int):
        return Decimal(cell)
    if isinstance(cell, float):
        # Fifteen digits are what a spreadsheet itself shows: 0.1 + 0.2 is 0.3 there.
        return Decimal(f"{cell:.15g}") if cell == cell and abs(cell) < 1e300 else None
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    if isinstance(cell, time):
        return f"{cell:%H:%M}"
    if isinstance(cell, timedelta):
        return Decimal(f"{cell.total_seconds() / 3600:.6g}")
    return clean_cell(str(cell))
