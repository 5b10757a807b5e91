"""Jobs as bars over dates, drawn on the server: no script, no colour and no style of its own.

Decides how a plan looks; what is critical or late comes ready. Every kind of bar differs by its shape and is said
in words; the page's style sheet gives the colours (`.bars`). The full table belongs beside the drawing.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from refit.reports.axis import EVERY_DAY, Axis, Span
from refit.reports.drawn import escaped, shortened, wide

ROW, HEAD, FOOT = 28, 58, 6  # heights of a row and of what stands above and below the rows, px
TALL, MINI = 12, 18  # of a bar; of the small drawing of one row
LETTERS, SMALL = (
    14,
    12.5,
)  # sizes of the labels and of the words beside the bars; the style sheet says the same
GAP = 8
BOLD = 1.1  # how much wider bold letters run
WEEKDAYS = frozenset(range(5))  # Monday to Friday
NOTHING = "No jobs in these days."


@dataclass(frozen=True)
class Bar:
    """Hold one job or milestone; each last day is still one of its days.

    `cure_until` is the last day on which it hardens and nobody works on it, `late_finish` the last day on which it
    may end before it moves what hangs on it. Critical and late are said besides the words of `state`.
    """

    key: str
    label: str
    start: date
    finish: date
    href: str | None = None
    cure_until: date | None = None
    late_finish: date | None = None
    critical: bool = False
    late: bool = False
    done: bool = False
    booked: tuple[Span, ...] = ()
    milestone: bool = False
    state: str = ""
    group: str = ""

    @property
    def words(self) -> str:
        """Return what is said beside the bar."""
        return ", ".join(
            word for word in [self.urgent, self.state, *(span.words for span in self.booked)] if word
        )

    @property
    def urgent(self) -> str:
        """Return what must be said even where there is little room."""
        return ", ".join(["late"] * self.late + ["critical"] * self.critical)

    @property
    def whole(self) -> str:
        """Return all that the bar shows as one line."""
        said = [self.label, between(self.start, self.finish)]
        said += [word for word in (self.urgent, self.state) if word]
        if cure := self.hardens:
            said.append(f"hardens until {short(cure)}")
        if spare := self.to_spare:
            said.append(f"may end as late as {short(spare)}")
        said += [f"booked {between(span.first, span.last)} {span.words}".strip() for span in self.booked]
        return ", ".join(said)

    @property
    def hardens(self) -> date | None:
        """Return the last day of hardening, if there is one after the work."""
        return self.cure_until if self.cure_until and self.cure_until > self.finish else None

    @property
    def to_spare(self) -> date | None:
        """Return the last day on which it may end, if that is later than it does."""
        return self.late_finish if self.late_finish and self.late_finish > self.finish else None


@dataclass(frozen=True)
class BarSheet:
    """Hold a plan, or a window of it; rows stand in the order in which they are drawn, groups together.

    Weekdays run from Monday, 0. `away` are days on which nobody works, with the reason.
    """

    title: str
    first: date
    last: date
    today: date
    rows: Sequence[Bar]
    workdays: frozenset[int] = WEEKDAYS
    away: tuple[Span, ...] = ()

    @property
    def said(self) -> str:
        """Return the plan in a sentence, for whoever cannot see it."""
        stones = sum(bar.milestone for bar in self.rows)
        counts = [_count(len(self.rows) - stones, "job"), _count(stones, "milestone")]
        counts += [f"{n} {word}" for n, word in ((sum(bar.critical for bar in self.rows), "critical"),) if n]
        counts += [f"{n} {word}" for n, word in ((sum(bar.late for bar in self.rows), "late"),) if n]
        days = between(self.first, self.last)
        return f"{', '.join(counts)}; {days}. Today is {short(self.today)} {self.today.year}."


@dataclass(frozen=True)
class Sample:
    """Hold one entry of the legend: a small drawing and what it means."""

    svg: str
    words: str


def short(day: date) -> str:
    """Return a day as people write it within a year, 3 Mar."""
    return f"{day.day} {day:%b}"


def between(first: date, last: date) -> str:
    """Return days as people write them: 3 Mar, 3–9 Mar, 3 Mar – 2 Apr, with years where they differ."""
    if first >= last:
        return short(first)
    if first.year != last.year:
        return f"{short(first)} {first.year} – {short(last)} {last.year}"
    return f"{first.day}–{short(last)}" if first.month == last.month else f"{short(first)} – {short(last)}"


def svg(sheet: BarSheet, width: int) -> str:
    """Draw the plan for a page. The width is in px and is not scaled, so that letters stay legible."""
    names = min(320, max(96, width * 3 // 10))
    axis = Axis(sheet.first, sheet.last, names, max(width - names, 60))
    lines = list(grouped(sheet.rows))
    height = HEAD + ROW * max(len(lines), 1) + FOOT
    labels, plot = [], []
    for number, line in enumerate(lines):
        top = HEAD + ROW * number
        if isinstance(line, str):
            labels.append(_text(0, top + 20, shortened(line, LETTERS * BOLD, names - GAP), "strong"))
            continue
        words, apart = _words(line, axis, top)
        labels.append(_label(line, top, names - GAP, apart))
        plot.append(
            f"<g><title>{escaped(line.whole)}</title>{_row(line, axis, top + ROW / 2, TALL)}{words}</g>"
        )
    if not lines:
        labels.append(_text(0, HEAD + 20, NOTHING, "soft"))
    role = "group" if any(bar.href for bar in sheet.rows) else "img"
    return (
        f"{_opened('bars', role, width, height)}<title>{escaped(sheet.title)}</title><desc>{escaped(sheet.said)}</desc>"
        f"{_ground(sheet, axis, len(lines), height)}"
        f'<svg width="{names if lines else width}" height="{height}">{"".join(labels)}</svg>'
        # A drawing within a drawing is clipped to its own edges: nothing of the bars reaches the names.
        f'<svg x="{names}" width="{axis.width:g}" height="{height}" viewBox="{names} 0 {axis.width:g} {height}">'
        f"{''.join(plot)}</svg></svg>"
    )


def mini(bar: Bar, first: date, last: date, width: int, today: date | None = None) -> str:
    """Draw the small bar of one row, for a list; the width is in px."""
    axis = Axis(first, last, 0, width)
    now = (
        f'<path class="today" d="M{axis.middle_of(today):.5g} 0V{MINI}"/>'
        if today and axis.holds(today)
        else ""
    )
    return (
        f"{_opened('bars bars-mini', 'img', width, MINI)}<title>{escaped(bar.whole)}</title>"
        f'<path class="rule" d="M0 {MINI - 1}.5H{width}"/>{now}{_row(bar, axis, MINI / 2, 9)}</svg>'
    )


def legend(sheet: BarSheet) -> list[Sample]:
    """Return a sample of each kind of bar and of day that the plan has, to stand beside the drawing."""
    kinds = [Sample(_sample(bar), words) for has, bar, words in KINDS if any(has(row) for row in sheet.rows)]
    days = [("idle", "days off", sheet.workdays < EVERY_DAY), ("away", "away", bool(sheet.away))]
    return kinds + [Sample(_sampled(_rect(name, 2, 2, 46, 18)), words) for name, words, has in days if has]


def grouped(rows: Sequence[Bar]) -> Iterator[Bar | str]:
    """Yield the rows, and before each group its name."""
    group = ""
    for bar in rows:
        if bar.group != group:
            group = bar.group
            if group:
                yield group
        yield bar


def reach(bar: Bar) -> tuple[date, date]:
    """Return the first and the last day on which anything of a bar is drawn."""
    starts = [bar.start, *(span.first for span in bar.booked)]
    ends = [bar.start, bar.finish, *(span.last for span in bar.booked), bar.hardens, bar.to_spare]
    return min(starts), max(day for day in ends if day)


_FROM, _TO = date(2001, 1, 1), date(2001, 1, 8)  # the samples are drawn to no date: any days will do
_JOB = Bar("", "", _FROM, _TO)
_BRIEF = replace(_JOB, finish=date(2001, 1, 4))
KINDS: tuple[tuple[Callable[[Bar], bool], Bar, str], ...] = (
    (lambda bar: not bar.milestone, _JOB, "job"),
    (lambda bar: bar.critical, replace(_JOB, critical=True), "critical: each day longer moves the end"),
    (lambda bar: bar.late, replace(_JOB, late=True), "late"),
    (lambda bar: bar.done, replace(_JOB, done=True), "done"),
    (lambda bar: bool(bar.to_spare), replace(_BRIEF, late_finish=_TO), "days to spare"),
    (lambda bar: bool(bar.hardens), replace(_BRIEF, cure_until=_TO), "hardens, left alone"),
    (lambda bar: bool(bar.booked), replace(_JOB, booked=(Span(_FROM, _TO),)), "booked days"),
    (lambda bar: bar.milestone, replace(_JOB, start=date(2001, 1, 5), milestone=True), "milestone"),
)


def _sample(bar: Bar) -> str:
    return _sampled(_row(bar, Axis(_FROM, _TO, 2, 44), 12, TALL))


def _sampled(drawing: str) -> str:
    return (
        '<svg class="bars bars-mini" aria-hidden="true" width="48" height="22" viewBox="0 0 48 22">'
        f"{drawing}</svg>"
    )


def _opened(classes: str, role: str, width: int, height: int) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{classes}" role="{role}" width="{width}" height="{height}"'
        f' viewBox="0 0 {width} {height}">'
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _text(x: float, y: float, words: str, classes: str = "") -> str:
    kind = f' class="{classes}"' if classes else ""
    return f'<text x="{x:.5g}" y="{y:g}"{kind}>{escaped(words)}</text>'


def _ground(sheet: BarSheet, axis: Axis, lines: int, height: int) -> str:
    """Draw what lies under the bars: days off, rows, months, weeks, today."""
    drawn = [
        f'<rect class="idle" x="{a:.5g}" y="{HEAD}" width="{b - a:.4g}" height="{height - HEAD}"/>'
        for a, b in axis.idle(sheet.workdays)
    ]
    for a, b, span in axis.spans(sheet.away):
        why = span.words or "away"
        drawn.append(
            f"<g><title>{escaped(why)}, {between(span.first, span.last)}</title>"
            f'<rect class="away" x="{a:.5g}" y="{HEAD - 15}" width="{b - a:.4g}" height="{height - HEAD + 15}"/>'
            f"{_text(a + 3, HEAD - 4, shortened(why, SMALL, b - a - 4), 'small')}</g>"
        )
    rules = "".join(f"M0 {HEAD + ROW * at}.5H{axis.right:.5g}" for at in range(lines + 1))
    weeks = axis.weeks(22)
    ticks = "".join(f"M{week.x:.5g} 26V{height}" for week in weeks)
    months = axis.months(66)
    posts = "".join(f"M{month.x:.5g} 4V22M{month.x:.5g} {HEAD - 15}V{height}" for month in months)
    drawn.append(f'<path class="rule" d="{rules}{ticks}"/><path class="post" d="{posts}"/>')
    names = [(month.x + 4, 17, month.words, LETTERS * BOLD, "strong") for month in months]
    names += [(week.x + 3, 37, week.words, SMALL, "small") for week in weeks]
    drawn += [
        _text(x, y, words, kind) for x, y, words, size, kind in names if x + wide(words, size) <= axis.right
    ]
    if axis.holds(sheet.today):
        x = axis.middle_of(sheet.today)
        at = min(max(x, axis.left + 20), axis.right - 20)
        drawn.append(
            f'<path class="today" d="M{x:.5g} {HEAD - 2}V{height}"/>{_text(at, HEAD - 5, "today", "now")}'
        )
    return "".join(drawn)


def _label(bar: Bar, top: float, room: float, apart: str) -> str:
    """Draw the name of a row; words that found no room beside the bar stand at its end."""
    size = LETTERS * (BOLD if bar.critical or bar.milestone else 1)
    indent = GAP if bar.group else 0
    said = shortened(apart, SMALL, room * 0.45)
    left = room - indent - (wide(said, SMALL) + GAP if said else 0)
    name = _text(indent, top + 19, shortened(bar.label, size, left), "strong" if size > LETTERS else "")
    if bar.href and bar.href.startswith(("/", "?", "#")):
        name = f'<a href="{escaped(bar.href)}">{name}</a>'
    beside = _text(room, top + 19, said, "small before") if said else ""
    return f"<g><title>{escaped(bar.whole)}</title>{name}{beside}</g>"


def _words(bar: Bar, axis: Axis, top: float) -> tuple[str, str]:
    """Return the words drawn beside a bar, and those for which there is no room on either side."""
    if not bar.words:
        return "", ""
    first, last = reach(bar)
    begun, ended = axis.within(axis.start_of(first)), axis.within(axis.end_of(last))
    if bar.milestone or ended - begun < TALL:
        begun, ended = begun - TALL / 2, ended + TALL / 2
    for words in (bar.words, bar.urgent):
        said = shortened(words, SMALL, 260)
        room = wide(said, SMALL) + GAP
        if said and ended + room <= axis.right:
            return _text(ended + GAP, top + 18.5, said, "small"), ""
        if said and begun - room >= axis.left:
            return _text(begun - GAP, top + 18.5, said, "small before"), ""
    return "", bar.words


def _row(bar: Bar, axis: Axis, middle: float, tall: float) -> str:
    """Draw one bar with all that belongs to it about the middle of its row."""
    classes = "".join(f" {word}" for word in ("critical", "late", "done") if getattr(bar, word))
    if bar.milestone:
        return _stone(axis, bar.start, middle, tall, classes)
    drawn = []
    finish = max(bar.start, bar.finish)
    a, b = axis.within(axis.start_of(bar.start)), axis.within(axis.end_of(finish))
    top = middle - tall / 2
    if spare := bar.to_spare:
        end = axis.within(axis.end_of(spare))
        if end > b:
            drawn.append(
                f'<path class="spare" d="M{b:.5g} {middle:g}H{end:.5g}M{end - 1:.5g} {middle - 4:g}v8"/>'
            )
    if cure := bar.hardens:
        end = axis.within(axis.end_of(cure))
        if end > b:
            drawn.append(_rect("cure", b, top + 1.5, end, tall - 3))
    if finish >= axis.first and bar.start <= axis.last:
        b = max(b, a + 3)
        drawn.append(_rect(f"job{classes}", a, top, b, tall))
        if bar.critical and not bar.done:
            drawn.append(f'<path class="stripes" d="M{a + 2:.5g} {middle:g}H{b - 1:.5g}"/>')
        if bar.late and axis.holds(finish):
            drawn.append(f'<path class="edge" d="M{b - 1.5:.5g} {top - 3:g}v{tall + 6:g}"/>')
    drawn += [
        f'<path class="booked" d="M{x + 1:.5g} {top + 2:g}V{top - 4:g}H{y - 1:.5g}V{top + 2:g}"/>'
        for x, y, _ in axis.spans(bar.booked)
    ]
    first, last = reach(bar)
    if first < axis.first:
        drawn.append(f'<path class="beyond" d="M{axis.left + 6:.5g} {middle - 5:g}l-5 5 5 5"/>')
    if last > axis.last:
        drawn.append(f'<path class="beyond" d="M{axis.right - 6:.5g} {middle - 5:g}l5 5 -5 5"/>')
    return "".join(drawn)


def _stone(axis: Axis, day: date, middle: float, tall: float, classes: str) -> str:
    """Draw a milestone as a square on its corner; out of sight, an arrow points to it."""
    if not axis.holds(day):
        x, way = (axis.left + 6, -5) if day < axis.first else (axis.right - 6, 5)
        return f'<path class="beyond" d="M{x:.5g} {middle - 5:g}l{way} 5 {-way} 5"/>'
    half = tall / 2 + 1
    x = min(max(axis.middle_of(day), axis.left + half), axis.right - half)
    return (
        f'<path class="stone{classes}" d="M{x:.5g} {middle - half:g}l{half:g} {half:g} -{half:g} {half:g}'
        f' -{half:g} -{half:g}z"/>'
    )


def _rect(classes: str, a: float, top: float, b: float, tall: float) -> str:
    return (
        f'<rect class="{classes}" x="{a:.5g}" y="{top:g}" width="{max(b - a, 0.5):.4g}" height="{tall:g}"/>'
    )
