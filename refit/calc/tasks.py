"""The words of a plan in dates: tasks and bookings that go in, placed tasks, holds and clashes that come out.

Plain values only; `plan` works with them. Days of a task are working days of the owner, days of a booking and of a
cure are calendar days.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

LONGEST = 10_000  # days of one task, booking or cure


class Held(StrEnum):
    """What binds the start of a task."""

    TODAY = "today"
    AFTER = "after"
    CURE = "cure"
    PARTS = "parts"
    NOT_BEFORE = "not before"
    BOOKED = "booked"
    SPACE = "space"
    AWAY = "away"


@dataclass(frozen=True)
class Booked:
    """Somebody comes: from `day` for so many calendar days (1 or more)."""

    day: date
    days: int = 1
    who: str = ""


@dataclass(frozen=True)
class Task:
    """A job that is not done yet, or a milestone.

    `days` are working days; a milestone takes none, whatever they say. `after` names the tasks that it comes after.
    `parts_on` is the day on which the last part is expected, when the task may start; `parts_words` names that part.
    In the `cure_days` calendar days after its end nothing that comes after may start, and its space stays taken.
    Tasks of one `space` never share a day; None shares. `begun_on` is set for what is in hand: only what is left of
    it, at least a day, is planned from today. Priority 1 goes first.
    """

    key: str
    days: int
    after: tuple[str, ...] = ()
    not_before: date | None = None
    parts_on: date | None = None
    parts_words: str = ""
    booked: tuple[Booked, ...] = ()
    cure_days: int = 0
    space: str | None = None
    begun_on: date | None = None
    priority: int = 2
    milestone: bool = False


@dataclass(frozen=True)
class Hold:
    """What binds a start: `key` is the task behind it (after, cure, space), `words` the part or who is booked.

    `on` is the day from which it lets the task start.
    """

    kind: Held
    key: str | None
    words: str | None
    on: date


@dataclass(frozen=True)
class Placed:
    """A task in dates.

    `finish` is its last day, included; a milestone starts and finishes on its day. `works_from` is its first day still
    to be worked, which is `start` but for what is in hand. `free_from` is the day from which what comes after may start
    and its space is free. Floats are working days: how far `works_from` may slip before a milestone (total) or anything
    that comes after it, by arrow or in its space (free) moves. Negative total float: late by so much. A booked task
    that keeps its booking has none, as it cannot slip.
    """

    start: date
    finish: date
    works_from: date
    free_from: date
    late_start: date
    late_finish: date
    total_float: int
    free_float: int
    held_by: Hold


@dataclass(frozen=True)
class Clash:
    """A booking that cannot be met: what is in its way, and the first day on which it could be.

    Kind and `cause`: AFTER and CURE the task that ends too late, PARTS (`words` names the part), NOT_BEFORE, TODAY (its
    day has passed), SPACE the task that has the space, BOOKED the task booked into the same space, or into it before.
    """

    key: str
    booked: Booked
    kind: Held
    cause: str | None
    words: str | None
    possible: date


@dataclass(frozen=True)
class Plan:
    """Tasks in dates, in the order given; `end` is the last finish, `start` where nothing is planned."""

    start: date
    end: date
    placed: Mapping[str, Placed]
    clashes: tuple[Clash, ...]
    milestones: tuple[str, ...]
    targets: Mapping[str, date]


@dataclass(frozen=True)
class Link:
    """A link of the chain that a milestone hangs on.

    The first is the root: `key` is None, `kind` and `words` say what it is, `start` and `finish` its day. Each other is
    a task, `kind` what ties it to the link before it.
    """

    key: str | None
    kind: Held
    words: str | None
    start: date
    finish: date


@dataclass(frozen=True)
class Moved:
    """How a task moved from one plan to another, in calendar days; later is positive."""

    key: str
    start_days: int
    finish_days: int


@dataclass(frozen=True)
class Difference:
    """What another plan changes: milestones of both with the days they moved (0 too), and every task that moved.

    `gone` and `new` are tasks of one plan only; `clashes` are the bookings that newly cannot be met, `kept` those that
    now can.
    """

    milestones: Mapping[str, int]
    moved: tuple[Moved, ...]
    gone: tuple[str, ...]
    new: tuple[str, ...]
    clashes: tuple[Clash, ...]
    kept: tuple[Clash, ...]
