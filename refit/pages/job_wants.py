"""What stands beside each thing that a job wants: what is kept for it, what replaced it, what goes with it.

Reads in a number of queries that does not grow with what the job wants.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from refit.boat.models import Boat
from refit.buying.reading import Want
from refit.calc.numbers import format_quantity
from refit.pages import seeing
from refit.pages.forms.needs import CopyForm, ListForm, NameForm
from refit.stores.kept import Kept, kept_for
from refit.stores.models import Companion, KitList, Need, Part
from refit.stores.reading import Whereabouts
from refit.work.models import Job

NIL = Decimal(0)
Row = tuple[Part | None, str, Decimal]


@dataclass(frozen=True)
class Also:
    """Something that a part needs with it and that the job does not want yet, for so much of the part."""

    companion: Companion
    quantity: Decimal

    @property
    def row(self) -> Row:
        return (self.companion.other, self.companion.words, self.quantity)

    def __str__(self) -> str:
        words = f"{format_quantity(self.quantity)} {self.companion}"
        return f"tool: {self.companion}" if self.companion.is_tool else words


def beside(request: Any, job: Job, wants: list[Want], where: dict[int, Whereabouts]) -> dict[str, Any]:
    """Return what the page shows beside its wants; each need is given `kept_now`, `can_keep`, `newer` and `also`."""
    needs = [want.need for want in wants]
    parts = {need.part_id for need in needs if need.part_id}
    kept = kept_for(job.boat, parts) if parts else {}
    newer = newest(job.boat, [need.part for need in needs if need.part and need.part.superseded_by_id])
    also = companions_missing(needs)
    for want in wants:
        need: Any = want.need
        rows = kept.get(need.part_id or 0, [])
        need.kept_now = sum((row.quantity for row in rows if row.need.pk == need.pk), NIL)
        need.can_keep = _can_keep(want, rows, where, job)
        need.newer = newer.get(need.part_id or 0)
        need.also = also.get(need.pk, [])
    context: dict[str, Any] = {"added": request.GET.get("with", "")[:20]}
    if "work" in request.rights:
        context |= {
            "copy_form": CopyForm(job.boat, seeing.jobs(request.member), auto_id="copy_%s"),
            "kit_lists": list(KitList.objects.filter(boat=job.boat)),
            "list_form": ListForm(job.boat, auto_id="list_%s"),
            "name_form": NameForm(job.boat, auto_id="name_%s"),
        }
    return context


def _can_keep(want: Want, rows: list[Kept], where: dict[int, Whereabouts], job: Job) -> Decimal:
    """Return how much could be kept for it: what it still has to take, as far as it lies here free of the others."""
    need = want.need
    if want.part is None or want.part.kept != "counted" or need.met_at or not job.is_to_do:
        return NIL
    here = where.get(want.part.pk)
    lies = here.aboard + here.ashore if here else NIL
    others = sum((row.quantity for row in rows if row.need.pk != need.pk), NIL)
    return max(min(need.quantity - want.taken, lies - others), NIL)


def newest(boat: Boat, parts: Iterable[Part]) -> dict[int, Part]:
    """Return for each part that was replaced the one that is bought now."""
    after = {part.pk: part.superseded_by_id for part in parts if part.superseded_by_id}
    known: dict[int, Part] = {}
    ask = set(after.values())
    while ask:
        found = Part.objects.in_bulk([pk for pk in ask if pk])
        known |= found
        ask = {part.superseded_by_id for part in found.values() if part.superseded_by_id} - set(known)
    ends = {}
    for old, pk in after.items():
        part, seen = known.get(pk or 0), {old}
        while part is not None and part.superseded_by_id in known and part.pk not in seen:
            seen.add(part.pk)
            part = known[part.superseded_by_id or 0]
        if part is not None:
            ends[old] = part
    return ends


def companions_missing(needs: list[Need]) -> dict[int, list[Also]]:
    """Return for each open need what goes with its part and the job does not want yet; one query."""
    open_needs = [need for need in needs if need.part_id and not need.met_at]
    if not open_needs:
        return {}
    wanted = {need.part_id for need in needs if need.part_id}
    words = {need.words.casefold() for need in needs if need.words}
    rows = Companion.objects.filter(part__in={need.part_id for need in open_needs}).select_related("other")
    by_part: dict[int, list[Companion]] = defaultdict(list)
    for row in rows:
        there = row.other_id in wanted if row.other_id else row.words.casefold() in words
        if not there:
            by_part[row.part_id].append(row)
    return {
        need.pk: [
            Also(row, row.quantity if row.is_tool else row.quantity * need.quantity)
            for row in by_part[need.part_id or 0]
        ]
        for need in open_needs
    }
