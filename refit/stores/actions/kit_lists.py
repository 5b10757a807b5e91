"""Lists kept for work that comes again: made, filled, used, thrown away."""

from datetime import date
from decimal import Decimal

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.stores.actions.needs import add_needs
from refit.stores.models import KitList, KitListLine, Need, Part
from refit.work.models import Job

Row = tuple[Part | None, str, Decimal]


@transaction.atomic
def make_list(boat: Boat, name: str, rows: list[Row]) -> KitList:
    """Make a list under a name of its own, with what is on it so far."""
    lock(boat)
    if not name:
        raise Refused("Give the list a name, such as Engine service.", code="required", field="name")
    if KitList.objects.filter(boat=boat, name=name).exists():
        raise Refused(f"There is a list {name} already.", code="taken", field="name")
    made = KitList.objects.create(boat=boat, name=name)
    for part, words, quantity in rows:
        _line(made, part, words, quantity)
    return made


@transaction.atomic
def list_of_job(job: Job, name: str) -> KitList:
    """Make a list of what a job wants, to be used again."""
    lock(job.boat)
    needs = Need.objects.filter(job=job).select_related("part").order_by("id")
    rows: list[Row] = [(need.part, need.words, need.quantity) for need in needs]
    if not rows:
        raise Refused(f"Job {job.number} wants nothing yet.", code="nothing", field="name")
    return make_list(job.boat, name, rows)


@transaction.atomic
def add_line(kit_list: KitList, *, part: Part | None, words: str, quantity: Decimal) -> KitListLine:
    """Put one more thing on a list."""
    lock(kit_list.boat)
    return _line(standing(KitList.objects.all(), kit_list.pk, "The list"), part, words, quantity)


def _line(kit_list: KitList, part: Part | None, words: str, quantity: Decimal) -> KitListLine:
    if quantity <= 0:
        raise Refused("How many? Type a number above nil.", code="nothing", field="quantity")
    return KitListLine.objects.create(
        boat=kit_list.boat, kit_list=kit_list, part=part, words="" if part else words, quantity=quantity
    )


@transaction.atomic
def remove_line(line: KitListLine) -> None:
    """Take a thing off a list."""
    lock(line.boat)
    standing(KitListLine.objects.all(), line.pk, "That line").delete()


@transaction.atomic
def throw_away(kit_list: KitList) -> None:
    """Delete a list. What jobs want because of it, they still want."""
    lock(kit_list.boat)
    standing(KitList.objects.all(), kit_list.pk, "The list").delete()


@transaction.atomic
def use_list(kit_list: KitList, job: Job, *, on: date) -> list[Need]:
    """Want everything on a list for a job."""
    lock(job.boat)
    rows = kit_list.lines.select_related("part").order_by("id")  # type: ignore[attr-defined]
    if not rows:
        raise Refused(f"Nothing is on the list {kit_list}.", code="nothing", field="kit")
    return add_needs(job, [(row.part, row.words, row.quantity) for row in rows], on=on)
