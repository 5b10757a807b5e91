"""What stands on a job's sheet of paper: filled from work, stores and the photos that the person may see. No prices."""

from typing import Any

from refit.boat.actions.papers import file_of
from refit.boat.models import Location, Paper, PaperKind, PlaceCaution
from refit.boat.pictures import HEIC
from refit.buying.reading import Want, against, wanted
from refit.calc.numbers import format_quantity
from refit.pages import seeing
from refit.pages.job_time import Step, cautions_of, conditions, time_of
from refit.pages.tray_sheet import shown_picture
from refit.reports.axis import Span
from refit.reports.job_sheet import MOST_PHOTOS, BeforeRow, JobSheet, PartRow, Photo, PlaceRow
from refit.stores.models import PartNumber
from refit.stores.reading import whereabouts
from refit.work.models import Job, JobPaper


def sheet_of(request: Any, job: Job) -> JobSheet:
    """Return the sheet of a job as the person may see it."""
    time = time_of(request, job)
    wants = wanted([job]).get(job.pk, [])
    parts = {want.need.part_id for want in wants if want.need.part_id}
    where = whereabouts(job.boat, parts, request.today) if parts else {}
    rows = [against(want, where) for want in wants]
    numbers = _numbers(parts)
    traits = [row.trait for row in job.traits.all()]  # type: ignore[attr-defined]
    return JobSheet(
        number=job.number,
        title=job.title,
        system=job.system.name,
        state=job.get_state_display(),
        note=job.note,
        start=job.not_before,
        booked=[
            Span(row.booking.day, row.last, f"{row.booking.who} {row.booking.note}".strip())
            for row in time["bookings"]
        ],
        conditions=conditions(job),
        cautions=cautions_of(job, traits, request.today),
        before=[_before(step) for step in time["steps"]["after"]],
        places=_places(job, rows),
        parts=[_part(row, numbers) for row in rows if not row.need.met_at],
        photos=_photos(request, job),
        for_whom=str(job.given_to or ""),
    )


def _before(step: Step) -> BeforeRow:
    name = f"{step.job.number} {step.job.title}" if step.job else "another job"
    return BeforeRow(
        name, step.job.get_state_display() if step.job else "Done" if step.done else "Not done yet"
    )


def _places(job: Job, rows: list[Want]) -> list[PlaceRow]:
    """Return where the work is and where its parts lie, each with what must not be blocked there."""
    places: dict[int, Location] = {job.space.pk: job.space} if job.space else {}
    for row in rows:
        for holding, _ in row.spots:
            places.setdefault(holding.place_id, holding.place)
    care: dict[int, list[str]] = {}
    for caution in PlaceCaution.objects.filter(location__in=list(places)).order_by("kind"):
        words = f" ({caution.words})" if caution.words else ""
        care.setdefault(caution.location_id, []).append(f"{caution.get_kind_display()}{words}")
    return [PlaceRow(place.mark, place.name, care.get(pk, [])) for pk, place in places.items()]


def _numbers(parts: set[Any]) -> dict[int, str]:
    rows = PartNumber.objects.filter(part__in=parts).order_by("-id").values_list("part", "number")
    return dict(rows)


def _part(row: Want, numbers: dict[int, str]) -> PartRow:
    lies = [
        f"{holding.place.plate} × {format_quantity(some)}" if some else holding.place.plate
        for holding, some in row.spots
    ]
    coming = [
        *([f"{format_quantity(row.on_order)} on order"] if row.on_order else []),
        *([f"{format_quantity(row.short)} to buy"] if row.short else []),
        *([f"{format_quantity(row.taken)} taken already"] if row.taken else []),
    ]
    part = row.part
    return PartRow(
        part=part.name if part else row.need.words,
        quantity=row.need.quantity,
        unit="" if part is None or part.unit == "each" else part.get_unit_display(),
        number=numbers.get(part.pk, "") if part else "",
        lies=", ".join(lies),
        to_come=", ".join(coming),
    )


def _photos(request: Any, job: Job) -> list[Photo]:
    """Return the job's photos as bytes, those of before first as they were put on; other papers stay on screen."""
    seen = seeing.papers(request.member).filter(kind=PaperKind.PHOTO).values("pk")
    links = JobPaper.objects.filter(job=job, paper__in=seen).select_related("paper").order_by("id")
    found = []
    for link in links[:MOST_PHOTOS]:
        data = _picture(link.paper)
        if data is not None:
            words = f"Paper {link.paper.number} {link.get_moment_display()}".strip()
            found.append(Photo(data, words))
    return found


def _picture(paper: Paper) -> bytes | None:
    if paper.content_type == HEIC:
        return shown_picture(paper)
    path = file_of(paper)
    return path.read_bytes() if paper.content_type != "application/pdf" and path.exists() else None
