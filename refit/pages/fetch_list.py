"""The fetch list as rows of the sheet of paper."""

from typing import Any

from refit.boat.models import Location
from refit.buying.fetching import FetchList, Line
from refit.pages.part_lists import first_number
from refit.reports.fetch_sheet import FetchRow
from refit.stores.actions.pieces import is_piece
from refit.stores.models import Part


def sheet_rows(found: FetchList) -> list[FetchRow]:
    """Return the list as rows of the sheet of paper, the stops in order and what is not here last."""
    numbers = _numbers([line.part for stop in found.stops for line in stop.lines])
    rows = [
        FetchRow(
            mark=stop.place.plate,
            place=_named(stop.place),
            part=line.part.name,
            quantity=line.quantity,
            unit=line.part.get_unit_display(),
            job=f"{line.need.job.number} {line.need.job.title}",
            number=numbers.get(line.part.pk, ""),
            note=_paper_note(line),
            care="; ".join(stop.cares),
        )
        for stop in found.stops
        for line in stop.lines
    ]
    return rows + [
        FetchRow(
            mark="",
            place="",
            part=str(lack.need),
            quantity=lack.quantity,
            unit=lack.need.part.get_unit_display() if lack.need.part else "",
            job=f"{lack.need.job.number} {lack.need.job.title}",
            note=lack.why,
        )
        for lack in found.lacks
    ]


def _paper_note(line: Line) -> str:
    words = [line.words] if line.quantity is None or is_piece(line.holding) else []
    return ", ".join([*words, *([line.note] if line.note else [])])


def _named(place: Location) -> str:
    words = [place.name] if place.mark and place.name else []
    return ", ".join([*words, *([place.area.name] if place.area and place.area_id != place.pk else [])])


def _numbers(parts: list[Part]) -> dict[int, str]:
    rows: Any = Part.objects.filter(pk__in={part.pk for part in parts}).prefetch_related("numbers")
    return {part.pk: first_number(part) for part in rows}
