"""Every change of an estimate: what a service of a job may cost. Amounts are dated and kept; the newest counts.

An estimate is closed when it was ordered, or is no longer wanted; from that day on it is in no forecast.
"""

from datetime import date
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.refusals import Refused
from refit.work.models import Estimate, EstimateAmount, Job

LIMIT = 10**12


@transaction.atomic
def add_estimate(job: Job, *, words: str, amount: int, on: date, today: date, by: Any) -> Estimate:
    """Say what a service of a job may cost (minor units), from a day on."""
    lock(job.boat)
    if not words:
        raise Refused("Say what it is for, such as crane or welding.", code="empty", field="words")
    estimate = Estimate.objects.create(boat=job.boat, job=job, words=words)
    _set(estimate, amount, on=on, today=today, by=by)
    return estimate


@transaction.atomic
def change_amount(estimate: Estimate, amount: int, *, on: date, today: date, by: Any) -> EstimateAmount:
    """Say what it may cost now; earlier amounts stay to be read."""
    lock(estimate.boat)
    fresh = Estimate.objects.get(pk=estimate.pk)
    if fresh.closed_on:
        raise Refused(f"{fresh} was closed; open it again first.", code="closed")
    return _set(fresh, amount, on=on, today=today, by=by)


@transaction.atomic
def close_estimate(estimate: Estimate, *, on: date, today: date) -> Estimate:
    """Say that it was ordered, or is no longer wanted."""
    lock(estimate.boat)
    fresh = Estimate.objects.select_for_update(no_key=True).get(pk=estimate.pk)
    if fresh.closed_on:
        raise Refused(f"{fresh} was closed on {fresh.closed_on:%-d %b %Y} already.", code="closed")
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="on")
    fresh.closed_on = on
    fresh.save(update_fields=["closed_on"])
    return fresh


@transaction.atomic
def reopen_estimate(estimate: Estimate) -> Estimate:
    """Say that it is still to come (undo)."""
    lock(estimate.boat)
    fresh = Estimate.objects.select_for_update(no_key=True).get(pk=estimate.pk)
    if not fresh.closed_on:
        raise Refused(f"{fresh} is open.", code="open")
    fresh.closed_on = None
    fresh.save(update_fields=["closed_on"])
    return fresh


@transaction.atomic
def remove_estimate(estimate: Estimate) -> None:
    """Take an estimate off again (undo of adding); one with a past is closed instead."""
    lock(estimate.boat)
    if estimate.amounts.count() > 1 or estimate.closed_on:
        raise Refused(f"{estimate} has a past; close it instead.", code="has_past")
    estimate.delete()


def _set(estimate: Estimate, amount: int, *, on: date, today: date, by: Any) -> EstimateAmount:
    if not 0 <= amount < LIMIT:
        raise Refused("An estimate is nil or more, and not that much.", code="amount", field="amount")
    if on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="on")
    last = estimate.amounts.last()
    if last is not None and on < last.set_on:
        raise Refused(
            f"It was set on {last.set_on:%-d %b %Y}; a newer amount is from that day or later.",
            code="earlier",
            field="on",
        )
    return EstimateAmount.objects.create(
        boat=estimate.boat, estimate=estimate, amount=amount, set_on=on, by=by
    )
