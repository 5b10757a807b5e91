"""What is kept for jobs: how much of a part, for which need, and how much lies free beside it.

A job that is done, or left for later or another year, keeps nothing, nor does a need that is met. What was taken for the
job, of the part or of what took its place, uses the keeping up. Decides nothing about whether it may be taken all the same; the actions ask.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Q, QuerySet, Sum

from refit.boat.models import Boat, Where
from refit.stores.models import Holding, Movement, Need, Part, Reason, usable
from refit.stores.reading import with_aside
from refit.stores.replaced import Newer, chain, replacements_for
from refit.work.models import Job

NIL = Decimal(0)
Key = tuple[int, int | None]  # job, part


@dataclass(frozen=True)
class Kept:
    """So much of a part is kept for a need; with a lot, it is that piece or thing."""

    need: Need
    quantity: Decimal

    @property
    def job(self) -> Job:
        return self.need.job

    @property
    def lot_id(self) -> int | None:
        return self.need.reserved_lot_id


def takings() -> "QuerySet[Movement]":
    """Return the movements that took things for jobs, and those that undid such a taking."""
    return Movement.objects.filter(
        Q(reason=Reason.USED) | Q(reason=Reason.UNDONE, reverses__reason=Reason.USED), job__isnull=False
    )


def taken_for(jobs: Iterable[int]) -> dict[Key, Decimal]:
    """Return what was taken for each of these jobs of each part, less what was undone."""
    rows = takings().filter(job_id__in=list(jobs)).order_by().values_list("job_id", "part_id", "reason")
    found: dict[Key, Decimal] = defaultdict(lambda: NIL)
    for job, part, reason, total in rows.annotate(total=Sum("quantity")):
        found[(job or 0, part)] += total if reason == Reason.USED else -total
    return found


def met_of(needs: Iterable[Need], taken: Mapping[Key, Decimal], newer: Newer) -> dict[int, Decimal]:
    """Return by primary key how much each need has: what was taken for its job is set against needs in their order."""
    rest = dict(taken)
    found = {}
    for need in needs:
        found[need.pk] = NIL
        for part in chain(need.part_id, newer.get) if need.part_id else ():
            found[need.pk] += draw(rest, (need.job_id, part), need.quantity - found[need.pk])
    return found


def draw(store: dict[Key, Decimal], key: Key, most: Decimal) -> Decimal:
    """Take at most so much out of what there is under a key."""
    some = max(min(most, store.get(key, NIL)), NIL)
    store[key] = store.get(key, NIL) - some
    return some


def kept_for(boat: Boat, parts: Iterable[int]) -> dict[int, list[Kept]]:
    """Return what is kept of each of these parts, the job with the lowest number first; three queries at most."""
    needs = list(
        Need.objects.filter(boat=boat, part_id__in=list(parts), job__in=Job.objects.to_do())
        .select_related("job", "reserved_lot", "part")
        .order_by("job__number", "id")
    )
    found: dict[int, list[Kept]] = defaultdict(list)
    if not any(need.reserved and not need.met_at for need in needs):
        return found
    met = met_of(needs, taken_for({need.job_id for need in needs}), replacements_for(needs))
    for need in needs:
        quantity = min(need.reserved, need.quantity - met[need.pk])
        if quantity > 0 and not need.met_at and need.part_id:
            found[need.part_id].append(Kept(need, quantity))
    return found


@dataclass(frozen=True)
class Lying:
    """What may be used of a part here, aboard or ashore, in all and of each lot; and what is kept of it."""

    total: Decimal
    lots: dict[int | None, Decimal]
    kept: list[Kept]

    def free(self, without: Need | None = None, lot: int | None = None) -> Decimal:
        """Return how much lies free of what is kept for other needs; of one lot where it is named."""
        others = [row for row in self.kept if without is None or row.need.pk != without.pk]
        free = self.total - sum((row.quantity for row in others), NIL)
        if lot is not None:
            mine = sum((row.quantity for row in others if row.lot_id == lot), NIL)
            free = min(free, self.lots.get(lot, NIL) - mine)
        return max(free, NIL)


def lying(part: Part, on: date) -> Lying:
    """Return what lies here of a part that may be used, and what of it is kept for jobs."""
    here = Holding.objects.filter(boat_id=part.boat_id, part=part, quantity__gt=0).exclude(
        place__where=Where.AWAY
    )
    lots: dict[int | None, Decimal] = defaultdict(lambda: NIL)
    for holding in with_aside(usable(here, on)):
        lots[holding.lot_id] += holding.quantity - holding.aside
    return Lying(sum(lots.values(), NIL), dict(lots), kept_for(part.boat, [part.pk])[part.pk])
