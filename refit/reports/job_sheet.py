"""A job on paper for whoever comes to do it: what is to be done, where, with what, and what comes before.

Decides the order, the words and the lines to sign. Carries no price, as it has no field for one. What is written in
the note is printed as it stands.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from io import BytesIO

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    Image,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from refit.reports.axis import Span
from refit.reports.fonts import BOLD, REGULAR
from refit.reports.page import FOOT, MARGIN, Page, about, day, numbered
from refit.reports.paper import PaperColumn, PaperRow, Side, listing, marked_up, shown
from refit.reports.pictures import ready

ACROSS = 2  # photos beside each other; two rows of them fill a page
PHOTO_HIGH = 250.0  # pt
MOST_PHOTOS = 12
LONGEST = 6000  # characters of the note
MOST_WORDS = 200  # characters of a caption
LEAST = 70.0  # pt; a heading with less room than this begins the next page
GAP = 14
ASKED = (
    "Done as described",
    "Tested, and the result written below",
    "Waste and cloths taken away; after hot work, fire watch kept",
)
SIGNED = (
    ("Materials and batch", "Test, result and instrument"),
    ("Left to do", "Certificate number"),
    ("Name and firm", "Date and signature"),
)
NOTE = ParagraphStyle("job note", fontName=REGULAR, fontSize=10, leading=13.5)
SMALL = ParagraphStyle("job caption", fontName=REGULAR, fontSize=8.6, leading=11)
STRONG = ParagraphStyle("job caution", parent=NOTE, fontName=BOLD)
HEADING = ParagraphStyle("job heading", fontName=BOLD, fontSize=12, leading=15, spaceAfter=3)
CARE = (
    "This sheet replaces neither the maker's instructions nor local rules nor a competent person. "
    "Ask before you begin if anything on board differs from it."
)


@dataclass(frozen=True)
class Photo:
    """Hold one picture, JPEG or PNG as bytes, and what it shows."""

    data: bytes
    caption: str = ""


@dataclass(frozen=True)
class BeforeRow:
    """Hold a job that comes before this one: how it stands, and when it ends."""

    job: str
    state: str
    until: date | None = None


@dataclass(frozen=True)
class PlaceRow:
    """Hold a place where work is done or parts lie, with its cautions; the mark is what its label says."""

    mark: str
    name: str
    care: Sequence[str] = ()


@dataclass(frozen=True)
class PartRow:
    """Hold a part wanted: how many, where they lie ("S3 × 2"), and what is still to come, with its day."""

    part: str
    quantity: Decimal
    unit: str
    number: str = ""
    lies: str = ""
    to_come: str = ""


@dataclass(frozen=True)
class JobSheet:
    """Hold all that a job sheet says. Cautions name their reason, such as "Gas: a competent person"."""

    number: int
    title: str
    system: str = ""
    state: str = ""
    note: str = ""
    start: date | None = None
    finish: date | None = None
    booked: Sequence[Span] = ()
    conditions: Sequence[str] = ()
    cautions: Sequence[str] = ()
    before: Sequence[BeforeRow] = ()
    places: Sequence[PlaceRow] = ()
    parts: Sequence[PartRow] = ()
    photos: Sequence[Photo] = ()
    for_whom: str = ""

    @property
    def name(self) -> str:
        """Return the job as people call it."""
        return f"{self.number} {self.title}"


def job_pdf(sheet: JobSheet, *, identity: Sequence[str], as_at: date) -> bytes:
    """Write the job sheet as a PDF."""
    title = f"Job {sheet.name}"
    maker = numbered(title, identity, as_at)
    page = Page.PORTRAIT
    inner, room = page.inner
    out = BytesIO()
    document = BaseDocTemplate(out, pagesize=page.value, **about(title, identity))
    document.addPageTemplates(PageTemplate("all", [Frame(MARGIN, MARGIN + FOOT, inner, room, 0, 0, 0, 0)]))
    document.build(
        [
            *_what(sheet),
            *_cautions(sheet),
            *_listed("What comes before", _BEFORE, [_before(row) for row in sheet.before], inner),
            *_listed("Places", _PLACES, [_place(row) for row in sheet.places], inner),
            *_listed("Parts", _PARTS, [_part(row) for row in sheet.parts], inner),
            *_photos(sheet.photos, inner),
            *_signed(inner),
        ],
        canvasmaker=maker,
    )
    return out.getvalue()


_BEFORE = (PaperColumn("Job", 110), PaperColumn("State", 40), PaperColumn("Until", 32))
_PLACES = (PaperColumn("Place", 30), PaperColumn("Name", 70), PaperColumn("Take care", 90))
_PARTS = (
    PaperColumn("Got", 10, boxes=True),
    PaperColumn("Part", 62),
    PaperColumn("Part number", 32),
    PaperColumn("How many", 18, Side.RIGHT),
    PaperColumn("Unit", 14),
    PaperColumn("Lies in", 40),
    PaperColumn("Still to come", 40),
)


def _before(row: BeforeRow) -> PaperRow:
    return PaperRow([row.job, row.state, day(row.until)])


def _place(row: PlaceRow) -> PaperRow:
    return PaperRow([row.mark, row.name, "\n".join(row.care)])


def _part(row: PartRow) -> PaperRow:
    where = row.lies or ("" if row.to_come else "not found")
    return PaperRow(["", row.part, row.number, shown(row.quantity), row.unit, where, row.to_come])


def _what(sheet: JobSheet) -> list[Flowable]:
    """Return what is to be done and when."""
    told = [
        ("System", sheet.system),
        ("State", sheet.state),
        ("For", sheet.for_whom),
        ("Days", _days(sheet.start, sheet.finish)),
        (
            "Booked",
            "; ".join(f"{_days(span.first, span.last)} {span.words}".strip() for span in sheet.booked),
        ),
        ("Conditions", "; ".join(sheet.conditions)),
    ]
    lines: list[Flowable] = [
        Paragraph(f'<font name="{BOLD}">{word}</font>&nbsp; {marked_up(said)}', NOTE)
        for word, said in told
        if said
    ]
    note = sheet.note[:LONGEST] + ("… (more on screen)" if len(sheet.note) > LONGEST else "")
    return [
        *lines,
        Spacer(0, GAP / 2),
        _heading("What is to be done"),
        Paragraph(marked_up(note) if note.strip() else "No more than the title says.", NOTE),
        Spacer(0, GAP),
    ]


def _days(first: date | None, last: date | None) -> str:
    if first is None or last is None or first == last:
        return day(first or last)
    return f"{day(first)} to {day(last)}"


def _cautions(sheet: JobSheet) -> list[Flowable]:
    said = [Paragraph(marked_up(words), STRONG) for words in sheet.cautions]
    return [CondPageBreak(LEAST), _heading("Take care"), *said, Paragraph(CARE, NOTE), Spacer(0, GAP)]


def _listed(
    heading: str, columns: Sequence[PaperColumn], rows: Sequence[PaperRow], inner: float
) -> list[Flowable]:
    """Return a table under its heading; nothing where it would be empty."""
    if not rows:
        return []
    return [CondPageBreak(LEAST), _heading(heading), listing(columns, rows, inner), Spacer(0, GAP)]


def _photos(photos: Sequence[Photo], inner: float) -> list[Flowable]:
    """Return the photos in rows, each with its number and caption."""
    if not photos:
        return []
    room = inner / ACROSS - 6
    cells = [_photo(photo, number, room) for number, photo in enumerate(photos[:MOST_PHOTOS], 1)]
    lines: list[list[list[Flowable] | str]] = [
        list(cells[at : at + ACROSS]) for at in range(0, len(cells), ACROSS)
    ]
    lines[-1] += [""] * (ACROSS - len(lines[-1]))
    look = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]
    told: list[Flowable] = [Table(lines, colWidths=[inner / ACROSS] * ACROSS, style=look)]
    if len(photos) > MOST_PHOTOS:
        told.append(Paragraph(f"{len(photos) - MOST_PHOTOS} more on screen.", NOTE))
    return [CondPageBreak(PHOTO_HIGH + 60), _heading("Photos"), *told, Spacer(0, GAP)]


def _photo(photo: Photo, number: int, room: float) -> list[Flowable]:
    caption = Paragraph(marked_up(f"{number}. {photo.caption[:MOST_WORDS]}"), SMALL)
    picture = ready(photo.data, room, PHOTO_HIGH)
    if picture is None:
        return [Paragraph("This photo could not be opened.", SMALL), caption]
    image = Image(BytesIO(picture.data), picture.width, picture.height)
    image.hAlign = "LEFT"
    return [image, Spacer(0, 3), caption]


def _signed(inner: float) -> list[Flowable]:
    """Return the lines that are filled in by hand when the work is done."""
    rows: list[list[Flowable | str]] = [[_Tick(words), ""] for words in ASKED]
    rows += [[Paragraph(left, NOTE), Paragraph(right, NOTE)] for left, right in SIGNED]
    look = [
        ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("SPAN", (0, 0), (1, 0)),
        ("SPAN", (0, 1), (1, 1)),
        ("LINEBELOW", (0, len(ASKED)), (-1, -1), 0.5, (0, 0, 0)),
    ]
    high = [20] * len(ASKED) + [34] * len(SIGNED)
    return [KeepTogether([_heading("When it is done"), Table(rows, [inner / 2] * 2, high, style=look)])]


def _heading(words: str) -> Paragraph:
    return Paragraph(words, HEADING)


class _Tick(Flowable):
    """A box to tick with its words beside it."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self._words = words

    def wrap(self, width: float, _: float) -> tuple[float, float]:
        return width, 12.0

    def draw(self) -> None:
        self.canv.setLineWidth(0.9)
        self.canv.rect(0.5, 1, 10, 10)
        self.canv.setFont(REGULAR, 10)
        self.canv.drawString(17, 2.5, self._words)
