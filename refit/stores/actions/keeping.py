"""Keeping so much of what lies in the stores for a job, letting it go, and minding it when somebody takes some."""

from collections.abc import Collection
from datetime import date
from decimal import Decimal

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Where
from refit.boat.refusals import Refused
from refit.calc.numbers import format_quantity
from refit.stores.amounts import amount
from refit.stores.kept import Lying, lying, met_of, taken_for
from refit.stores.models import GOOD_CONDITIONS, Holding, Kept, Lot, Need, Part
from refit.stores.replaced import replacements_for
from refit.work.models import Job

NIL = Decimal(0)


@transaction.atomic
def keep(need: Need, quantity: Decimal, *, today: date, lot: Lot | None = None) -> Need:
    """Keep so much for what a job wants: nil lets it go. What is wanted in one piece is kept as one piece."""
    lock(need.boat)
    fresh = standing(Need.objects.select_related("job", "part", "boat"), need.pk, "What the job wanted")
    if quantity < 0:
        raise Refused("Nil or more.", code="negative", field="quantity")
    if quantity == 0:
        fresh.reserved, fresh.reserved_lot = NIL, None
        fresh.save(update_fields=["reserved", "reserved_lot"])
        return fresh
    part = _may_be_kept(fresh)
    here = lying(part, today)
    if lot is None and part.in_pieces and fresh.one_piece:
        lot = _piece(fresh, part, quantity, here)
    left = fresh.quantity - _met(fresh)
    if quantity > left:
        raise Refused(
            f"Job {fresh.job.number} still wants {amount(part, max(left, NIL))} of {part}, not {amount(part, quantity)}.",
            code="more_than_wanted",
            field="quantity",
        )
    free = here.free(fresh, lot.pk if lot else None)
    if quantity > free:
        raise Refused(
            f"{amount(part, free)} of {part} {'lies' if free <= 1 else 'lie'} free, not {amount(part, quantity)}.",
            code="more_than_free",
            field="quantity",
        )
    fresh.reserved, fresh.reserved_lot = quantity, lot
    fresh.save(update_fields=["reserved", "reserved_lot"])
    return fresh


def _may_be_kept(need: Need) -> Part:
    part = need.part
    if part is None:
        raise Refused("Only a part can be kept, not words.", code="words")
    if part.kept != Kept.COUNTED:
        raise Refused(f"{part} is not counted; it cannot be kept for a job.", code="not_counted")
    if need.met_at or not need.job.is_to_do:
        raise Refused(f"Job {need.job.number} no longer wants {part}.", code="closed")
    return part


def _met(need: Need) -> Decimal:
    """Return how much of this need was taken already; earlier needs of the job for the same part come first."""
    needs = list(Need.objects.filter(job=need.job_id).select_related("part").order_by("id"))
    return met_of(needs, taken_for([need.job_id]), replacements_for(needs))[need.pk]


def _piece(need: Need, part: Part, quantity: Decimal, here: Lying) -> Lot:
    """Return the shortest piece that is long enough and free."""
    long_enough = [(length, pk) for pk, length in here.lots.items() if pk and here.free(need, pk) >= quantity]
    if not long_enough:
        longest = max((here.free(need, pk) for pk in here.lots if pk), default=NIL)
        raise Refused(
            f"No free piece of {part} is {amount(part, quantity)} long; the longest is {amount(part, longest)}.",
            code="no_piece",
            field="quantity",
        )
    return Lot.objects.get(pk=min(long_enough)[1])


def mind_kept(
    holding: Holding,
    quantity: Decimal,
    jobs: Collection[Job],
    *,
    today: date,
    agreed: bool,
    more: Decimal = NIL,
    off: Decimal | None = None,
) -> None:
    """Refuse to take for these jobs (or for none) what is kept for another one, unless that is agreed.

    `more` was found there just now. `off` is what the piece itself loses, where some of it stays in the stores.
    """
    if agreed or not _counts(holding, today):
        return
    here = lying(holding.part, today)
    others = [row for row in here.kept if row.job.pk not in {job.pk for job in jobs}]
    if not others:
        return
    wanted = sum((row.quantity for row in others), NIL)
    short = wanted - (here.total + more - quantity)
    mine = [row for row in others if row.lot_id is not None and row.lot_id == holding.lot_id]
    if mine:
        left = here.lots.get(holding.lot_id, NIL) + more - (quantity if off is None else off)
        short = max(short, sum((row.quantity for row in mine), NIL) - left)
        others = mine
    if short <= 0:
        return
    whom = " and ".join(dict.fromkeys(f"job {row.job.number}" for row in others))
    many = min(short, quantity if off is None else off)
    raise Refused(
        f"{format_quantity(many)} of these {'is' if many <= 1 else 'are'} kept for {whom}. "
        "Tick “take all the same” to take them.",
        code="kept_for",
        field="agreed",
    )


def _counts(holding: Holding, today: date) -> bool:
    """Return whether what lies there counts as lying here for jobs."""
    lot = holding.lot
    if holding.place.where == Where.AWAY or holding.part.kept != Kept.COUNTED:
        return False
    return lot is None or (
        lot.condition in GOOD_CONDITIONS and (lot.expires_on is None or lot.expires_on >= today)
    )
