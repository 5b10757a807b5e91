"""Days laid out from left to right: where a date lies, which months and weeks are named, which days are no work.

Decides the geometry that the plan on screen and the plan on paper share; draws nothing. Lengths are in the
drawing's own unit (px on screen, pt on paper).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

EVERY_DAY = frozenset(range(7))
LEAST_DAY = 2.2  # narrower days are not told apart, so single days off are left out
_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 6000, 12000)  # months between two names


@dataclass(frozen=True)
class Span:
    """Hold some days, both ends among them, and whose or what they are."""

    first: date
    last: date
    words: str = ""


@dataclass(frozen=True)
class Mark:
    """Name a place on the axis."""

    x: float
    words: str
    day: date


@dataclass(frozen=True)
class Axis:
    """Lay the days from first to last (both among them) over a width that begins at left."""

    first: date
    last: date
    left: float
    width: float

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError(f"The plan ends on {self.last} before it begins on {self.first}.")

    @property
    def days(self) -> int:
        """Count the days."""
        return self.last.toordinal() - self.first.toordinal() + 1

    @property
    def step(self) -> float:
        """Return the width of a day."""
        return self.width / self.days

    @property
    def right(self) -> float:
        """Return where the last day ends."""
        return self.left + self.width

    def start_of(self, day: date) -> float:
        """Return where a day begins; it may lie outside."""
        return self.left + (day.toordinal() - self.first.toordinal()) * self.step

    def end_of(self, day: date) -> float:
        """Return where a day ends; it may lie outside."""
        return self.left + (day.toordinal() - self.first.toordinal() + 1) * self.step

    def middle_of(self, day: date) -> float:
        """Return the middle of a day."""
        return (self.start_of(day) + self.end_of(day)) / 2

    def within(self, x: float) -> float:
        """Return the nearest place that is on the axis."""
        return min(max(x, self.left), self.right)

    def holds(self, day: date) -> bool:
        """Say whether a day is drawn."""
        return self.first <= day <= self.last

    def months(self, room: float) -> list[Mark]:
        """Return the first days of months, so far apart that a name of this width fits between them.

        Where the first month is cut, the axis begins with its name if there is room for it.
        """
        month = self.step * 30.4
        step = next((step for step in _STEPS if step * month >= room), _STEPS[-1])
        begun = self.first.year * 12 + self.first.month - 1
        at = begun + (self.first.day > 1)
        at += -at % step
        marks = []
        while at // 12 <= self.last.year:
            day = date(at // 12, at % 12 + 1, 1)
            if day > self.last:
                break
            marks.append(Mark(self.start_of(day), _month(day, step), day))
            at += step
        reach = marks[0].x if marks else self.right
        if not marks or (marks[0].day > self.first and reach - self.left >= room):
            return [Mark(self.left, _begun(self.first, step), self.first), *marks]
        return [Mark(marks[0].x, _begun(marks[0].day, step), marks[0].day), *marks[1:]]

    def weeks(self, room: float) -> list[Mark]:
        """Return the Mondays with their day of the month; none where the figures would touch."""
        if self.step * 7 < room:
            return []
        monday = self.first.toordinal() + -self.first.weekday() % 7
        days = (date.fromordinal(at) for at in range(monday, self.last.toordinal() + 1, 7))
        return [Mark(self.start_of(day), str(day.day), day) for day in days]

    def idle(self, workdays: frozenset[int]) -> Iterator[tuple[float, float]]:
        """Yield from where to where no work is done, days that touch taken together; weekdays run from Monday, 0."""
        if self.step < LEAST_DAY or workdays >= EVERY_DAY:
            return
        begun: int | None = None
        first = self.first.toordinal()
        for at in range(self.days + 1):
            off = at < self.days and (first + at + 6) % 7 not in workdays
            if off and begun is None:
                begun = at
            elif not off and begun is not None:
                yield self.left + begun * self.step, self.left + at * self.step
                begun = None

    def spans(self, spans: Iterable[Span]) -> Iterator[tuple[float, float, Span]]:
        """Yield from where to where each span that is in sight runs."""
        for span in spans:
            if span.first <= self.last and span.last >= self.first:
                yield self.within(self.start_of(span.first)), self.within(self.end_of(span.last)), span


def _month(day: date, step: int) -> str:
    """Name a month; the year stands where it begins, or where months are too close for names."""
    if step >= 12:
        return str(day.year)
    return _begun(day, step) if day.month == 1 else f"{day:%b}"


def _begun(day: date, step: int) -> str:
    return str(day.year) if step >= 12 else f"{day:%b} {day.year}"
