"""The fetch list on paper: what to take from which place, with a box to tick.

Decides the columns and the words. Does not decide the way through the boat: rows come in the order of the walk, bow
to stern, and those of one place together.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from refit.reports.paper import Group, PaperColumn, PaperRow, Side, shown, table_pdf

TITLE = "Fetch list"
NOWHERE = "Not found aboard"
EMPTY = "Nothing to fetch."


@dataclass(frozen=True)
class FetchRow:
    """Hold one thing to take. The mark is what people call the place; without one it lies nowhere aboard.

    `quantity` is None for what is kept by level; `note` says what matters when taking it, such as "in one piece".
    `care` is a caution of the place.
    """

    mark: str
    place: str
    part: str
    quantity: Decimal | None
    unit: str
    job: str
    number: str = ""
    note: str = ""
    care: str = ""
    taken: bool = False

    @property
    def heading(self) -> str:
        """Return the place as it stands above what lies there."""
        if not self.mark:
            return self.place or NOWHERE
        return f"{self.mark} · {self.place}" if self.place else self.mark


def fetch_pdf(
    rows: Sequence[FetchRow],
    *,
    identity: Sequence[str],
    as_at: date,
    title: str = TITLE,
    notes: Sequence[str] = (),
) -> bytes:
    """Write the fetch list as a PDF, place after place in the order in which the rows come."""
    return table_pdf(
        title,
        identity=identity,
        as_at=as_at,
        columns=[
            PaperColumn("Got", 10, boxes=True),
            PaperColumn("Part", 66),
            PaperColumn("Part number", 30),
            PaperColumn("How many", 18, Side.RIGHT),
            PaperColumn("Unit", 14),
            PaperColumn("For job", 52),
        ],
        groups=_by_place(rows),
        notes=notes,
        empty=EMPTY,
    )


def _by_place(rows: Sequence[FetchRow]) -> list[Group]:
    """Gather what lies in one place: people go to each place once, where they first come to it."""
    places: dict[str, list[FetchRow]] = {}
    for row in rows:
        places.setdefault(row.heading, []).append(row)
    return [
        Group(_with_care(heading, held), [_printed(row) for row in held]) for heading, held in places.items()
    ]


def _with_care(heading: str, rows: Sequence[FetchRow]) -> str:
    cares = dict.fromkeys(row.care for row in rows if row.care)
    return f"{heading} (take care: {'; '.join(cares)})" if cares else heading


def _printed(row: FetchRow) -> PaperRow:
    part = f"{row.part}\n{row.note}" if row.note else row.part
    many = "" if row.quantity is None else shown(row.quantity)
    return PaperRow(["x" if row.taken else "", part, row.number, many, row.unit, row.job])
