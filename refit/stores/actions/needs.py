"""What jobs want: changing it, copying it, what goes with it. Putting one on and taking it off is in `parts`."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.calc.sets import up_to_sets
from refit.stores.actions.parts import add_need
from refit.stores.amounts import amount
from refit.stores.kept import taken_for
from refit.stores.models import Companion, Need, Part
from refit.work.actions.days import our_day
from refit.work.models import Bag, Job

NIL = Decimal(0)


def in_sets(part: Part | None, quantity: Decimal) -> tuple[Decimal, str]:
    """Return a quantity rounded up to what the part is fitted in, and what to say of it."""
    if part is None or part.sets_of <= 1 or quantity <= 0:
        return quantity, ""
    rounded = up_to_sets(quantity, part.sets_of)
    if rounded == quantity:
        return quantity, ""
    return (
        rounded,
        f" Fitted in sets of {part.sets_of}: {amount(part, quantity)} becomes {amount(part, rounded)}.",
    )


@transaction.atomic
def change_need(
    need: Need,
    *,
    part: Part | None,
    words: str,
    quantity: Decimal,
    wanted_by: date | None,
    one_piece: bool,
    must_fit: str,
) -> Need:
    """Change what a job wants. What is kept for it is let go as far as it no longer fits."""
    lock(need.boat)
    fresh = standing(Need.objects.select_related("part", "job"), need.pk, "What the job wanted")
    check_facts(need.boat, part, quantity, wanted_by, one_piece=one_piece)
    if part is None and not words:
        raise Refused("What does it want? Type a part, a number, or a few words.", code="empty")
    if fresh.part_id != (part.pk if part else None):
        fresh.reserved, fresh.reserved_lot = NIL, None
    fresh.part, fresh.words = part, "" if part else words
    fresh.quantity = in_sets(part, quantity)[0]
    fresh.reserved = min(fresh.reserved, fresh.quantity)
    if not one_piece and fresh.reserved_lot is not None and part is not None and part.in_pieces:
        fresh.reserved_lot = None
    fresh.wanted_by, fresh.one_piece, fresh.must_fit = wanted_by, one_piece, must_fit
    fresh.save()
    return fresh


def check_facts(
    boat: Boat, part: Part | None, quantity: Decimal, wanted_by: date | None, *, one_piece: bool
) -> None:
    """Refuse what no job can want: nothing, a day long past or far off, one piece of what comes in none."""
    if quantity <= 0:
        raise Refused("How many? Type a number above nil.", code="nothing", field="quantity")
    if wanted_by is not None and not 1950 <= wanted_by.year <= 2100:
        raise Refused(f"{wanted_by} cannot be right.", code="day", field="wanted_by")
    if wanted_by is not None:
        our_day(wanted_by, boat, field="wanted_by")
    if one_piece and (part is None or not part.in_pieces):
        what = part or "What is in words only"
        raise Refused(f"{what} is not kept in pieces.", code="no_pieces", field="one_piece")


@transaction.atomic
def use_newer(need: Need) -> Need:
    """Want the part that took the place of the one that was wanted. What was taken of the old one is not wanted anew."""
    lock(need.boat)
    fresh = standing(
        Need.objects.select_related("part__superseded_by", "job"), need.pk, "What the job wanted"
    )
    newer = fresh.part.superseded_by if fresh.part else None
    while newer is not None and newer.superseded_by_id:
        newer = newer.superseded_by
    if newer is None or fresh.part is None:
        raise Refused(f"{fresh} was not replaced by another part.", code="not_replaced")
    taken = max(min(taken_for([fresh.job_id])[(fresh.job_id, fresh.part_id)], fresh.quantity), NIL)
    left = fresh.quantity - taken
    if left <= 0:
        raise Refused(f"Job {fresh.job.number} has all of {fresh} already.", code="has_it")
    if taken > 0:  # what it has stays written down under the part that it has
        Need.objects.create(
            boat=fresh.boat, job=fresh.job, part=fresh.part, quantity=taken, made_on=fresh.made_on
        )
    fresh.part, fresh.quantity = newer, in_sets(newer, left)[0]
    fresh.reserved, fresh.reserved_lot = NIL, None
    fresh.one_piece = fresh.one_piece and newer.in_pieces
    fresh.save()
    return fresh


@transaction.atomic
def add_needs(job: Job, wants: Iterable[tuple[Part | None, str, Decimal]], *, on: date) -> list[Need]:
    """Put several things on what a job wants: from another job, from a list, or what goes with a part."""
    lock(job.boat)
    rows = list(wants)
    if not rows:
        raise Refused("There is nothing to add.", code="nothing")
    return [
        add_need(job, part=part, words=words, quantity=in_sets(part, quantity)[0], on=on)
        for part, words, quantity in rows
    ]


@transaction.atomic
def copy_needs(job: Job, other: Job, *, on: date) -> list[Need]:
    """Want what another job wants (or wanted), all of it anew."""
    lock(job.boat)
    if job.pk == other.pk:
        raise Refused("Choose another job to copy from.", code="same_job", field="job")
    rows = list(Need.objects.filter(job=other).select_related("part").order_by("id"))
    if not rows:
        raise Refused(f"Job {other.number} wants nothing that could be copied.", code="nothing", field="job")
    made = add_needs(job, [(row.part, row.words, row.quantity) for row in rows], on=on)
    for need, row in zip(made, rows, strict=True):
        need.one_piece, need.must_fit, need.guess = row.one_piece, row.must_fit, row.guess
        need.save(update_fields=["one_piece", "must_fit", "guess"])
    return made


@transaction.atomic
def remove_needs(needs: Sequence[Need]) -> None:
    """Take several things off again that were just put on (undo); what was ordered for them stays with its job."""
    if not needs:
        return
    lock(needs[0].boat)
    for need in needs:
        fresh = Need.objects.filter(pk=need.pk).first()
        if fresh is not None:
            fresh.delete()


@transaction.atomic
def add_companion(
    part: Part, *, other: Part | None, words: str, quantity: Decimal, is_tool: bool
) -> Companion:
    """Say what a part needs with it: so many of another part for each of it, or a tool to fit it with."""
    lock(part.boat)
    if quantity <= 0:
        raise Refused("How many? Type a number above nil.", code="nothing", field="quantity")
    if other is None and not words:
        raise Refused("What goes with it? Type a part or a few words.", code="empty", field="words")
    if other is not None and other.pk == part.pk:
        raise Refused(f"{part} does not go with itself.", code="itself", field="words")
    same = part.needs_with.filter(other=other) if other else part.needs_with.filter(words=words)  # type: ignore[attr-defined]
    if same.exists():
        raise Refused(f"{other or words} goes with it already.", code="twice", field="words")
    return Companion.objects.create(
        boat=part.boat,
        part=part,
        other=other,
        words="" if other else words,
        quantity=quantity,
        is_tool=is_tool,
    )


@transaction.atomic
def remove_companion(companion: Companion) -> None:
    """Say that a part does not need that with it."""
    lock(companion.boat)
    standing(Companion.objects.all(), companion.pk, "That").delete()


@transaction.atomic
def want_for_bag(bag: Bag, *, part: Part | None, words: str, quantity: Decimal, on: date) -> Need:
    """Say what must be bought to put together again what lies in a bag: its job wants it."""
    lock(bag.boat)
    need = add_need(bag.job, part=part, words=words, quantity=in_sets(part, quantity)[0], on=on)
    need.bag = bag
    need.save(update_fields=["bag"])
    return need


def facts_of(need: Need) -> dict[str, Any]:
    """Return what was said of a need, as `change_need` takes it (for its undo)."""
    return {
        "part": need.part,
        "words": need.words,
        "quantity": need.quantity,
        "wanted_by": need.wanted_by,
        "one_piece": need.one_piece,
        "must_fit": need.must_fit,
    }
