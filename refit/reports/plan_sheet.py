"""The plan on one printed sheet: bars over dates in black and white, and in a sentence what it hangs on.

Decides how small the rows may get before a further sheet is begun, and how each kind of bar looks on paper. What is
critical or late, and the sentence, come ready.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from refit.reports import fonts
from refit.reports.axis import EVERY_DAY, Axis
from refit.reports.bars import KINDS, NOTHING, Bar, BarSheet, between, grouped, reach
from refit.reports.fonts import BOLD, REGULAR
from refit.reports.page import FOOT, HEAD, MARGIN, Page, blank, cut
from refit.reports.paper import marked_up

LARGEST, SMALLEST = 17.0, 9.2  # heights of a row, pt; smaller letters than that are not read at arm's length
STEP = 0.2  # between two heights that are tried, pt
OVER, UNDER = 38.0, 16.0  # months and weeks above the rows; the legend below them
LETTERS = 0.66  # size of the letters, of the row's height: 9 pt at most
MOST_LETTERS, SMALL = 9.0, 7.0
SENTENCE = ParagraphStyle("sentence", fontName=BOLD, fontSize=11, leading=14)
MOST_WORDS = 600  # characters of the sentence; it may not push the plan off its sheet
SAMPLE = 22.0  # width of a sample in the legend, pt
CONTINUED = "continued"

Line = Bar | str


@dataclass(frozen=True)
class _Frame:
    """Where things lie on the sheet, pt: the axis, the column of names that ends where the dates begin."""

    axis: Axis
    left: float
    dates: float
    row: float

    @property
    def size(self) -> float:
        return min(self.row * LETTERS, MOST_LETTERS)


def plan_pdf(
    sheet: BarSheet,
    *,
    identity: Sequence[str],
    as_at: date,
    hangs_on: str = "",
    page: Page = Page.LARGE,
) -> bytes:
    """Write the plan as a PDF on sheets of this size; `hangs_on` says what the launch hangs on."""
    canvas, out = blank(page, title=sheet.title, identity=identity, as_at=as_at)
    inner, room = page.inner
    said = Paragraph(marked_up(hangs_on[:MOST_WORDS]), SENTENCE) if hangs_on else None
    above = said.wrap(inner, room)[1] + 6 if said else 0.0
    lines = list(grouped(sheet.rows))
    row, pages = fitted(lines, room - above - OVER - UNDER, room - OVER - UNDER)
    top = page.value[1] - MARGIN - HEAD
    frame = _framed(sheet, inner, row)
    for number, part in enumerate(pages):
        start = top
        if said and number == 0:
            said.drawOn(canvas, MARGIN, top - above + 6)
            start -= above
        _draw_page(canvas, sheet, part, frame, start)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def fitted(lines: Sequence[Line], first: float, later: float) -> tuple[float, list[list[Line]]]:
    """Return how high the rows are, and the rows of each sheet: as few sheets as can be read, then as large as can be."""
    fewest = len(_parted(lines, SMALLEST, first, later))
    row = LARGEST
    while row > SMALLEST:
        pages = _parted(lines, row, first, later)
        if len(pages) == fewest:
            return row, pages
        row -= STEP
    return SMALLEST, _parted(lines, SMALLEST, first, later)


def _parted(lines: Sequence[Line], row: float, first: float, later: float) -> list[list[Line]]:
    """Part the rows over sheets; a group's name never stands last, and comes again where the group goes on."""
    pages: list[list[Line]] = [[]]
    group = ""
    for line in lines:
        most = max(int((first if len(pages) == 1 else later) / row), 3)
        needed = 2 if isinstance(line, str) else 1
        if len(pages[-1]) + needed > most:
            pages.append([])
            if group and isinstance(line, Bar) and line.group:
                pages[-1].append(f"{group}, {CONTINUED}")
        group = line if isinstance(line, str) else line.group
        pages[-1].append(line)
    return pages


def _framed(sheet: BarSheet, inner: float, row: float) -> _Frame:
    size = min(row * LETTERS, MOST_LETTERS)
    spoken = [fonts.width(between(bar.start, bar.finish), REGULAR, size) for bar in sheet.rows]
    dates = min(max(spoken, default=0.0) + 8, inner * 0.16)
    names = inner * 0.27
    left = MARGIN + names + dates
    return _Frame(Axis(sheet.first, sheet.last, left, inner - names - dates), MARGIN, MARGIN + names, row)


def _draw_page(canvas: Canvas, sheet: BarSheet, lines: Sequence[Line], frame: _Frame, top: float) -> None:
    body = top - OVER
    end = body - frame.row * max(len(lines), 1)
    _draw_ground(canvas, sheet, frame, top, body, end)
    for number, line in enumerate(lines):
        middle = body - frame.row * (number + 0.5)
        if isinstance(line, str):
            _write(canvas, frame.left, middle, line, BOLD, frame.size, frame.axis.left - frame.left - 6)
        else:
            _draw_line(canvas, line, frame, middle)
    if not lines:
        _write(canvas, frame.left, body - frame.row / 2, NOTHING, REGULAR, frame.size, 300)
    _draw_legend(canvas, sheet, frame)


def _draw_ground(canvas: Canvas, sheet: BarSheet, frame: _Frame, top: float, body: float, end: float) -> None:
    """Draw what lies under the bars: days off, rules, months, weeks, milestones, today."""
    axis = frame.axis
    canvas.setFillGray(0.92)
    for a, b in axis.idle(sheet.workdays):
        canvas.rect(a, end, b - a, body - end, stroke=0, fill=1)
    for a, b, span in axis.spans(sheet.away):
        canvas.setFillGray(0.84)
        canvas.rect(a, end, b - a, body - end + 10, stroke=0, fill=1)
        canvas.setFillGray(0)
        if b - a > 4 * SMALL:
            _write(canvas, a + 2, body + 5, span.words or "away", REGULAR, SMALL, b - a - 3)
    canvas.setStrokeGray(0.75)
    canvas.setLineWidth(0.3)
    rows = round((body - end) / frame.row)
    canvas.lines(
        [(frame.left, body - at * frame.row, axis.right, body - at * frame.row) for at in range(rows + 1)]
    )
    weeks = axis.weeks(13)
    canvas.lines([(week.x, end, week.x, top - 14) for week in weeks])
    canvas.setStrokeGray(0.3)
    canvas.setLineWidth(0.7)
    months = axis.months(48)
    canvas.lines([(month.x, top - 12, month.x, top - 2) for month in months])
    canvas.lines([(month.x, end, month.x, body + 10) for month in months])
    canvas.setFillGray(0)
    for month in months:
        _write_whole(canvas, month.x + 3, top - 8, month.words, BOLD, 8.5, axis.right - month.x - 3)
    for week in weeks:
        _write_whole(canvas, week.x + 2, top - 19, week.words, REGULAR, SMALL, axis.right - week.x - 2)
    _draw_posts(canvas, sheet, axis, body, end)


def _draw_posts(canvas: Canvas, sheet: BarSheet, axis: Axis, body: float, end: float) -> None:
    """Draw a line down the sheet for each milestone, and the bold one for today."""
    canvas.setStrokeGray(0.35)
    canvas.setLineWidth(0.5)
    canvas.setDash(1.5, 2)
    for bar in sheet.rows:
        if bar.milestone and axis.holds(bar.start):
            x = axis.middle_of(bar.start)
            canvas.line(x, end, x, body)
    canvas.setStrokeGray(0)
    if axis.holds(sheet.today):
        canvas.setLineWidth(1.3)
        canvas.setDash(5, 2)
        x = axis.middle_of(sheet.today)
        canvas.line(x, end, x, body + 2)
        half = fonts.width("today", BOLD, SMALL) / 2
        at = min(max(x, axis.left + half), axis.right - half)
        _write(canvas, at - half, body + 6, "today", BOLD, SMALL, 2 * half + 1)
    canvas.setDash()


def _draw_line(canvas: Canvas, bar: Bar, frame: _Frame, middle: float) -> None:
    """Draw one row: its name, its dates, the bar, and beside the bar what it says."""
    axis, size = frame.axis, frame.size
    font = BOLD if bar.critical or bar.milestone else REGULAR
    indent = 7 if bar.group else 0
    small = max(size - 0.8, 6.0)
    words, x = _beside(bar, axis, small)
    apart = (
        cut(bar.words, REGULAR, small, (frame.dates - frame.left) * 0.4) if bar.words and not words else ""
    )
    taken = fonts.width(apart, REGULAR, small) + 5 if apart else 0.0
    _write(
        canvas,
        frame.left + indent,
        middle,
        bar.label,
        font,
        size,
        frame.dates - frame.left - indent - taken - 5,
    )
    if apart:
        _write(canvas, frame.dates - taken, middle, apart, REGULAR, small, taken)
    _write(
        canvas,
        frame.dates,
        middle,
        between(bar.start, bar.finish),
        REGULAR,
        size,
        axis.left - frame.dates - 3,
    )
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(axis.left, middle - frame.row / 2, axis.width, frame.row)
    canvas.clipPath(clip, stroke=0)
    draw_bar(canvas, bar, axis, middle, frame.row * 0.46)
    canvas.restoreState()
    if words:
        wide = fonts.width(words, REGULAR, small)
        canvas.setFillGray(1)
        canvas.rect(x - 1, middle - small * 0.45, wide + 2, small * 0.9, stroke=0, fill=1)
        canvas.setFillGray(0)
        _write(canvas, x, middle, words, REGULAR, small, wide + 1)


def _beside(bar: Bar, axis: Axis, size: float) -> tuple[str, float]:
    """Return what is said beside a bar and where; nothing where there is no room on either side."""
    first, last = reach(bar)
    begun, ended = axis.within(axis.start_of(first)), axis.within(axis.end_of(last))
    if bar.milestone or ended - begun < 6:
        begun, ended = begun - 4, ended + 4
    for said in (bar.words, bar.urgent):
        words = cut(said, REGULAR, size, axis.width * 0.3) if said else ""
        wide = fonts.width(words, REGULAR, size)
        if words and ended + wide + 5 <= axis.right:
            return words, ended + 5
        if words and begun - wide - 5 >= axis.left:
            return words, begun - wide - 5
    return "", 0.0


def draw_bar(canvas: Canvas, bar: Bar, axis: Axis, middle: float, tall: float) -> None:
    """Draw one bar with all that belongs to it about the middle of its row."""
    canvas.setStrokeGray(0)
    if bar.milestone:
        _draw_stone(canvas, bar.start, axis, middle, tall)
        return
    finish = max(bar.start, bar.finish)
    a, b = axis.within(axis.start_of(bar.start)), axis.within(axis.end_of(finish))
    low, high = middle - tall / 2, middle + tall / 2
    if spare := bar.to_spare:
        end = axis.within(axis.end_of(spare))
        canvas.setLineWidth(0.6)
        canvas.line(b, middle, end, middle)
        canvas.line(end - 0.3, middle - tall / 3, end - 0.3, middle + tall / 3)
    if cure := bar.hardens:
        canvas.setLineWidth(0.7)
        canvas.setDash(1, 1.5)
        canvas.setFillGray(1)
        canvas.rect(b, low + 0.8, axis.within(axis.end_of(cure)) - b, tall - 1.6, stroke=1, fill=1)
        canvas.setDash()
    if finish >= axis.first and bar.start <= axis.last:
        _draw_job(canvas, bar, a, max(b, a + 1.5), middle, tall)
    canvas.setLineWidth(1)
    for x, y, _ in axis.spans(bar.booked):
        canvas.lines([(x, high, x, high + 2), (x, high + 2, y, high + 2), (y, high + 2, y, high)])
    first, last = reach(bar)
    canvas.setLineWidth(1.1)
    if first < axis.first:
        _draw_beyond(canvas, axis.left + 1, middle, tall / 3)
    if last > axis.last:
        _draw_beyond(canvas, axis.right - 1, middle, -tall / 3)
    canvas.setFillGray(0)


def _draw_job(canvas: Canvas, bar: Bar, a: float, b: float, middle: float, tall: float) -> None:
    low = middle - tall / 2
    hollow = bar.done or bar.critical
    canvas.setLineWidth(1.2 if bar.critical else 0.6)
    canvas.setFillGray(1 if hollow else 0.3)
    canvas.rect(a, low, b - a, tall, stroke=1, fill=1)
    if bar.critical and not bar.done:
        canvas.setLineWidth(tall - 2.4)
        canvas.setDash(1, 2)
        canvas.line(a + 1.5, middle, b - 1, middle)
        canvas.setDash()
    if bar.late:
        canvas.setLineWidth(2.2)
        canvas.line(b - 0.6, low - 1.6, b - 0.6, low + tall + 1.6)


def _draw_stone(canvas: Canvas, at: date, axis: Axis, middle: float, tall: float) -> None:
    canvas.setLineWidth(1.1)
    if not axis.holds(at):
        before = at < axis.first
        _draw_beyond(
            canvas, axis.left + 1 if before else axis.right - 1, middle, tall / 3 if before else -tall / 3
        )
        return
    half = tall / 2 + 0.8
    x = min(max(axis.middle_of(at), axis.left + half), axis.right - half)
    path = canvas.beginPath()
    path.moveTo(x, middle + half)
    for across, up in ((half, 0), (0, -half), (-half, 0)):
        path.lineTo(x + across, middle + up)
    path.close()
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def _draw_beyond(canvas: Canvas, x: float, middle: float, by: float) -> None:
    """Draw the point of an arrow: the bar goes on where the sheet ends."""
    high = abs(by)
    canvas.lines([(x, middle, x + by, middle + high), (x, middle, x + by, middle - high)])


def _draw_legend(canvas: Canvas, sheet: BarSheet, frame: _Frame) -> None:
    """Draw at the foot what each kind of bar and of shading means, those alone that the plan has."""
    x, y = frame.left, MARGIN + FOOT + 5
    begin, end = KINDS[0][1].start, KINDS[0][1].finish
    for has, bar, words in KINDS:
        if any(has(row) for row in sheet.rows):
            draw_bar(canvas, bar, Axis(begin, end, x, SAMPLE), y, 6)
            x = _explain(canvas, x, y, words)
    for shaded, gray, words in (
        (sheet.workdays < EVERY_DAY, 0.92, "days off"),
        (bool(sheet.away), 0.84, "away"),
    ):
        if shaded:
            canvas.setFillGray(gray)
            canvas.rect(x, y - 4, SAMPLE, 8, stroke=0, fill=1)
            canvas.setFillGray(0)
            x = _explain(canvas, x, y, words)


def _explain(canvas: Canvas, x: float, y: float, words: str) -> float:
    """Write a word of the legend beside its sample and return where the next begins."""
    x += SAMPLE + 3
    wide = fonts.width(words, REGULAR, SMALL)
    _write(canvas, x, y, words, REGULAR, SMALL, wide + 1)
    return x + wide + 10


def _write_whole(
    canvas: Canvas, x: float, middle: float, text: str, font: str, size: float, room: float
) -> None:
    """Write a name or figure only where the whole of it has room."""
    if fonts.width(text, font, size) <= room:
        _write(canvas, x, middle, text, font, size, room)


def _write(canvas: Canvas, x: float, middle: float, text: str, font: str, size: float, room: float) -> None:
    """Write on one line about its middle, cut where there is no more room."""
    canvas.setFont(font, size)
    canvas.drawString(x, middle - size * fonts.CAP_HEIGHT[font] / 2, cut(text, font, size, room))
