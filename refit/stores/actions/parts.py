"""Parts and their numbers: making, changing, retiring."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from refit.boat.actions.boats import lock
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.calc.text import fold
from refit.stores.models import Holding, Kept, Movement, Need, NumberKind, Part, PartNumber
from refit.work.models import Job

NumberRow = tuple[str, str, str]  # kind, number, whose


@transaction.atomic
def add_part(boat: Boat, *, name: str, numbers: Iterable[NumberRow] = (), **facts: Any) -> Part:
    """Make a part with its numbers."""
    lock(boat)
    part = Part(boat=boat, name=name, **facts)
    rows = list(numbers)
    part.fold_search([number for _, number, _ in rows])
    part.save()
    for kind, number, whose in rows:
        _add_number(part, kind, number, whose)
    return part


@transaction.atomic
def change_part(part: Part, **facts: Any) -> Part:
    """Change what is known of a part. How it is kept changes only while none lies anywhere."""
    lock(part.boat)
    fresh = Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    if facts.get("in_pieces", fresh.in_pieces) and facts.get("kept", fresh.kept) != Kept.COUNTED:
        raise Refused("What is kept in pieces is counted: choose that.", code="not_counted", field="kept")
    if facts.get("kept", fresh.kept) != fresh.kept and Holding.objects.there().filter(part=fresh).exists():
        raise Refused(
            f"{fresh} lies in places now. Count it to nil before changing how it is kept.",
            code="held",
            field="kept",
        )
    if facts.get("unit", fresh.unit) != fresh.unit and Movement.objects.filter(part=fresh).exists():
        raise Refused(
            f"{fresh} has been in and out in {fresh.get_unit_display()}; make a new part for another unit.",
            code="moved",
            field="unit",
        )
    for name, value in facts.items():
        setattr(fresh, name, value)
    _fold(fresh)
    fresh.save()
    return fresh


@transaction.atomic
def add_number(part: Part, *, kind: str, number: str, whose: str = "") -> PartNumber:
    """Give a part one more number."""
    lock(part.boat)
    made = _add_number(part, kind, number, whose)
    _fold(part)
    part.save(update_fields=["search"])
    return made


@transaction.atomic
def remove_number(number: PartNumber) -> None:
    """Take a number off a part."""
    part = number.part
    lock(part.boat)
    number.delete()
    _fold(part)
    part.save(update_fields=["search"])


@transaction.atomic
def retire_part(part: Part) -> Part:
    """Take a part out of use: it stays in the ledger, and is offered nowhere."""
    lock(part.boat)
    fresh = Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    if Holding.objects.there().filter(part=fresh).exists():
        raise Refused(f"{fresh} lies in places still. Use it up or count it to nil first.", code="held")
    fresh.retired_at = timezone.now()
    fresh.save(update_fields=["retired_at"])
    return fresh


@transaction.atomic
def use_part_again(part: Part) -> Part:
    """Take a retired part into use again."""
    lock(part.boat)
    part.retired_at = None
    part.save(update_fields=["retired_at"])
    return part


@transaction.atomic
def delete_part(part: Part) -> None:
    """Delete a part that was never used anywhere; one with a past can only be retired."""
    lock(part.boat)
    fresh = Part.objects.get(pk=part.pk)
    pasts = (fresh.movements, fresh.lines, fresh.needs, fresh.supersedes)  # type: ignore[attr-defined]
    if any(past.exists() for past in pasts):
        raise Refused(
            f"{fresh} has been in and out, ordered, wanted or named by another part; it cannot be deleted. "
            "Retire it instead.",
            code="has_past",
        )
    fresh.holdings.all().delete()
    fresh.lots.all().delete()
    fresh.delete()


@transaction.atomic
def add_need(
    job: Job, *, part: Part | None, words: str, quantity: Decimal, on: date | None = None, **facts: Any
) -> Need:
    """Say that a job wants so much of a part, or something in words, from a day on (today unless given).

    `facts` are the day it is wanted by, whether in one piece, and what it must fit.
    """
    lock(job.boat)
    if quantity <= 0:
        raise Refused("How many? Type a number above nil.", code="nothing", field="quantity")
    return Need.objects.create(
        boat=job.boat,
        job=job,
        part=part,
        words="" if part else words,
        quantity=quantity,
        made_on=on or timezone.localdate(),
        **facts,
    )


@transaction.atomic
def guess_need(need: Need, guess: int | None) -> Need:
    """Say what all of it may cost (minor units; None: nobody knows). It counts until a price is known."""
    lock(need.boat)
    if guess is not None and not 0 <= guess < 10**12:
        raise Refused("A guess is nil or more, and not that much.", code="amount", field="guess")
    fresh = Need.objects.select_for_update(no_key=True).get(pk=need.pk)
    fresh.guess = guess
    fresh.save(update_fields=["guess"])
    return fresh


@transaction.atomic
def remove_need(need: Need) -> None:
    """Take a part off what a job wants."""
    lock(need.boat)
    need.delete()


@transaction.atomic
def close_need(need: Need) -> Need:
    """Say that a job has what it wanted."""
    lock(need.boat)
    need.met_at = timezone.now()
    need.save(update_fields=["met_at"])
    return need


@transaction.atomic
def reopen_need(need: Need) -> Need:
    """Say that a job still wants it (undo)."""
    lock(need.boat)
    need.met_at = None
    need.save(update_fields=["met_at"])
    return need


def _fold(part: Part) -> None:
    part.fold_search(list(PartNumber.objects.filter(part=part).values_list("number", flat=True)))


def _add_number(part: Part, kind: str, number: str, whose: str) -> PartNumber:
    if kind == NumberKind.GTIN:
        other = (
            PartNumber.objects.filter(boat=part.boat, kind=kind, folded=fold(number))
            .exclude(part=part)
            .first()
        )
        if other:
            raise Refused(f"Barcode {number} is on {other.part} already.", code="taken", field="number")
    made, _ = PartNumber.objects.get_or_create(
        boat=part.boat, part=part, kind=kind, folded=fold(number), defaults={"number": number, "whose": whose}
    )
    return made
