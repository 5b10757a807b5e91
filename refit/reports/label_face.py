"""The face of one label: what goes where, in millimetres from its top left corner.

Decides sizes, wrapping and shrinking. Knows nothing of sheets of paper, PDF or SVG: labels draws what is
placed here.
"""

from dataclasses import dataclass, replace

from refit.reports import fonts, qr
from refit.reports.sheets import Stock

MOST_CHARACTERS = 200  # far more than fits any label
LEADING = 1.18
DROP = 0.2  # how far letters hang below the line, of their size
HANGING = frozenset("gjpqyQ,;()[]/|")
MARK_SHARES = (0.42, 0.36, 0.3)  # of the height, the first that lets the name stand whole
ELLIPSIS = "…"


@dataclass(frozen=True)
class LabelRow:
    """What one label says. Without mark and name it is a blank label, to be written on by hand."""

    address: str
    mark: str
    name: str
    area: str
    code: str


@dataclass(frozen=True)
class Words:
    """One line of text; x and baseline in mm, size in mm."""

    x: float
    baseline: float
    text: str
    font: str
    size: float


@dataclass(frozen=True)
class Rule:
    """A thin line to write on."""

    x: float
    y: float
    length: float


@dataclass(frozen=True)
class Face:
    """A label ready to draw: the code's squares with the corner of the first one, words and rules."""

    squares: qr.Matrix
    module: float
    qr_x: float
    qr_y: float
    words: tuple[Words, ...]
    rules: tuple[Rule, ...]


@dataclass(frozen=True)
class _Column:
    x: float
    top: float
    bottom: float
    width: float

    @property
    def height(self) -> float:
        return self.bottom - self.top


def face(row: LabelRow, stock: Stock, squares: qr.Matrix, module: float) -> Face:
    """Lay out one label: the code on the left, the words beside it, as tall as the code."""
    side = len(squares) * module
    qr_x = max(qr.GUARD_MM + qr.QUIET_MODULES * module, stock.edge_mm)
    qr_y = (stock.label_h_mm - side) / 2
    x = qr_x + side + qr.QUIET_MODULES * module
    # Low labels need every millimetre of height for words; on tall ones they line up with the code.
    top = min(qr_y, stock.edge_mm) if stock.label_h_mm < 24 else qr_y
    column = _Column(x, top, stock.label_h_mm - top, stock.label_w_mm - stock.edge_mm - x)
    said = (row.mark, row.name, row.area, row.code)
    mark, name, area, code = (fonts.printable(text[:MOST_CHARACTERS]) for text in said)
    if not mark and not name:
        words, rules = _blank(code, column)
    else:
        words, rules = _named(mark or name, name if mark else "", area, code, column), ()
    return Face(squares, module, qr_x, qr_y, words, rules)


def _blank(code: str, column: _Column) -> tuple[tuple[Words, ...], tuple[Rule, ...]]:
    """Set the code large, with one or two lines below for the pen."""
    lines, size = fit(code, fonts.MONO, column.width, 1, column.height * 0.5, 2.0)
    cap = fonts.CAP_HEIGHT[fonts.MONO] * size
    words = (Words(column.x, column.top + cap, lines[0], fonts.MONO, size),)
    gap = 7.5  # handwriting with a felt pen
    count = 2 if column.height - cap > 2 * gap + 1 else 1
    rules = tuple(Rule(column.x, column.bottom - gap * i, column.width) for i in range(count))
    return words, rules


def _named(mark: str, name: str, area: str, code: str, column: _Column) -> tuple[Words, ...]:
    """Set the mark as large as it goes, the code at the foot, name and area between.

    A long name takes room first from the mark, then from the area, and only then is cut short.
    """
    height = column.height
    size = min(5.0, max(3.1, height * 0.16))
    size = min(size, size * column.width / fonts.width(code, fonts.MONO, size))
    foot = Words(column.x, column.bottom, code, fonts.MONO, size)
    floor = column.bottom - fonts.CAP_HEIGHT[fonts.MONO] * size - max(1.0, height * 0.06)
    if name.casefold() == mark.casefold():
        name = ""
    tries = [(share, area) for share in MARK_SHARES] + [(share, "") for share in MARK_SHARES[1:]]
    fullest: list[Words] = []
    for share, shown in tries:
        top, below = _mark(mark, share, column)
        middle = _between(name, shown, column, below, floor)
        if _said(middle) == f"{name} {shown}".strip():
            return (*top, *middle, foot)
        fullest = max(fullest, [*top, *middle], key=lambda words: len(_said(words)))
    return (*fullest, foot)


def _said(placed: list[Words]) -> str:
    return " ".join(words.text for words in placed)


def _mark(mark: str, share: float, column: _Column) -> tuple[list[Words], float]:
    """Set the mark from the top down, its capitals so large a share of the height; give where it ends."""
    height, cap = column.height, fonts.CAP_HEIGHT[fonts.BOLD]
    lines, size = fit(mark, fonts.BOLD, column.width, 1, height * share / cap, height * 0.2)
    if lines[0] != mark:  # a name for a mark: better whole on several lines than cut off on one
        lines, size = fit(mark, fonts.BOLD, column.width, 3, height * 0.2, height * 0.11)
    baseline = column.top + cap * size
    placed = _stack(lines, fonts.BOLD, size, column.x, baseline)
    hanging = 0.2 * size if set(lines[-1]) & HANGING else 0
    return placed, placed[-1].baseline + hanging


def _between(name: str, area: str, column: _Column, below: float, floor: float) -> list[Words]:
    """Fill the room between mark and code with name and area, as far as it goes."""
    height = column.height
    cap = fonts.CAP_HEIGHT[fonts.REGULAR]
    gap = max(0.9, height * 0.07)
    top = below + gap
    placed: list[Words] = []
    area_size = min(3.1, max(2.1, height * 0.105))
    area_room = area_size * (cap + 0.45) if area else 0
    if name:
        room = floor - top - area_room
        smallest, largest = 2.2, min(4.4, max(2.6, height * 0.145))
        count = 2 if room >= smallest * (cap + LEADING + DROP) else 1
        tallest = room / (cap + DROP)
        lines, size = fit(name, fonts.REGULAR, column.width, count, min(largest, tallest), smallest)
        while len(lines) > 1 and size > smallest and size * (cap + LEADING + DROP) > room:
            lines, size = fit(name, fonts.REGULAR, column.width, count, size - 0.1, smallest)
        placed = _stack(lines, fonts.REGULAR, size, column.x, top + cap * size)
        top = placed[-1].baseline + DROP * size + 0.25 * area_size
    if area and floor - top >= area_size * cap:
        lines, size = fit(area, fonts.REGULAR, column.width, 1, area_size, 2.0)
        placed += _stack(lines, fonts.REGULAR, size, column.x, top + cap * size)
    if not placed:
        return placed
    spare = floor - placed[-1].baseline - DROP * placed[-1].size
    down = min(gap, max(0.0, spare * 0.35))
    return [replace(words, baseline=words.baseline + down) for words in placed]


def _stack(lines: list[str], font: str, size: float, x: float, baseline: float) -> list[Words]:
    return [Words(x, baseline + i * size * LEADING, line, font, size) for i, line in enumerate(lines)]


def fit(
    text: str, font: str, width: float, lines: int, largest: float, smallest: float
) -> tuple[list[str], float]:
    """Find the largest size at which text wraps into so many lines; at the smallest, cut it short."""
    size = largest
    while size > smallest:
        wrapped = _wrap(text, font, width, size)
        if len(wrapped) <= lines and all(fonts.width(line, font, size) <= width for line in wrapped):
            return wrapped, size
        size = max(smallest, size - max(0.05, size * 0.02))
    wrapped = _wrap(text, font, width, smallest)
    kept = [*wrapped[: lines - 1], " ".join(wrapped[lines - 1 :])]
    return [_cut(line, font, width, smallest) for line in kept if line], smallest


def _wrap(text: str, font: str, width: float, size: float) -> list[str]:
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and fonts.width(longer, font, size) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _cut(line: str, font: str, width: float, size: float) -> str:
    if fonts.width(line, font, size) <= width:
        return line
    while line and fonts.width(line.rstrip() + ELLIPSIS, font, size) > width:
        line = line[:-1]
    return line.rstrip() + ELLIPSIS
