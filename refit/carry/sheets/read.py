"""Reading a file by what it holds, whatever it is called."""

from refit.carry.sheets.book import MOST_BYTES, Book, SheetProblem
from refit.carry.sheets.text import read_text
from refit.carry.sheets.xlsx import read_xlsx

OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
PICTURES = (b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"RIFF")


def read(data: bytes, name: str) -> Book:
    """Return the sheets of an xlsx, csv or tsv file. Raise SheetProblem for what cannot be read safely."""
    if not data.strip(b"\x00 \t\r\n"):
        raise SheetProblem("The file is empty.", "empty")
    if len(data) > MOST_BYTES:
        raise SheetProblem("The file is over 25 MB. Split it, or save it without pictures.", "too_large")
    if data.lstrip().startswith(b"%PDF"):
        raise SheetProblem("This is a PDF. Save the spreadsheet itself as xlsx or csv.", "pdf")
    if data.startswith(OLD_OFFICE):
        raise SheetProblem(
            "This is an old spreadsheet (.xls), or one with a password. Open it, take the password off, and "
            "save it as xlsx.",
            "old",
        )
    if data.startswith(PICTURES):
        raise SheetProblem("This is a picture. Save the spreadsheet itself as xlsx or csv.", "picture")
    book = read_xlsx(data, name) if data.startswith(b"PK") else read_text(data, name)
    book.sheets = [sheet for sheet in book.sheets if sheet.rows]
    if not book.sheets:
        raise SheetProblem("There is nothing in the file.", "empty")
    return book
