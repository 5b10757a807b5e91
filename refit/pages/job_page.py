"""What stands on a job's page, put together from work, stores and buying.

Decides what is the next step: to order what lies nowhere, else to take what lies somewhere. Money is worked out
only for those who may see it.
"""

import json
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, Sum

from refit.boat.rights import Right
from refit.buying.drawn import Taken, drawn
from refit.buying.models import Line, LineKind, OrderState
from refit.buying.reading import Known, Want, against, known, wanted
from refit.calc.numbers import format_quantity
from refit.pages.acting import at
from refit.pages.bag_page import bags_of
from refit.pages.forms.forecast import EstimateForm
from refit.pages.forms.jobs import NeedForm
from refit.pages.job_time import time_of
from refit.pages.job_wants import beside
from refit.pages.paper_owners import kept_of
from refit.pages.plan_dangers import dangers_for, few
from refit.stores.models import Holding, Movement, Part, Reason
from refit.stores.reading import Whereabouts, parts_named, whereabouts
from refit.work.models import TRANSITIONS, Estimate, EstimateAmount, Job, State

OFF = Q(reason=Reason.OFF) | Q(reverses__reason=Reason.OFF)
LAST = 12  # takings shown on the page; the whole is in the ledger's own list


@dataclass(frozen=True)
class Bought:
    """One order line for the job: how far it is, and where what came lies now."""

    line: Line
    state: str
    lies: list[Holding]


@dataclass(frozen=True)
class Plan:
    """An estimate as it stands, what it stood at before, and an order since that may be what it was for."""

    estimate: Estimate
    now: EstimateAmount | None
    earlier: list[EstimateAmount]
    perhaps: int | None = None


@dataclass(frozen=True)
class Choice:
    """A part that may be meant, with what is aboard of it and what is on order."""

    part: Part
    aboard: str
    json: str


def page_of(request: Any, job: Job, form: NeedForm) -> dict[str, Any]:
    """Return the context of a job's page."""
    lines = list(
        Line.objects.filter(job=job)
        .select_related("order__supplier", "part", "place")
        .order_by("order__number", "position")
    )
    wants = wanted([job]).get(job.pk, [])
    parts = {want.need.part_id for want in wants if want.need.part_id}
    parts |= {line.part_id for line in lines if line.part_id}
    where = whereabouts(job.boat, parts, request.today) if parts else {}
    rows = [against(want, where) for want in wants]
    context = {
        "job": job,
        "form": form,
        "wants": rows,
        "unmet": sum(1 for row in rows if row.unmet > 0),
        "bought": [_bought(line, where) for line in lines],
        "taken": list(Movement.objects.for_lists().filter(job=job).exclude(OFF)[:LAST]),
        "off": list(Movement.objects.for_lists().filter(job=job, reason=Reason.OFF, reversed_by=None)),
        "bags": bags_of(job),
        "next_states": [(state, state.label) for state in State if state in TRANSITIONS[job.state]],
        "choices": near_choices(request, form.choices),
        "has_places": any(line.place_id or line.arrived for line in lines),
        "kept": kept_of(request, "job", job),
    }
    context |= _next(request, job, rows) | beside(request, job, rows, where) | time_of(request, job)
    if Right.SEE_MONEY in request.rights:
        context["cost"] = _cost(job)
        context |= _money(request, job, lines)
    context["dangers"] = few(dangers_for(request, job))
    return context


def _money(request: Any, job: Job, lines: list[Line]) -> dict[str, Any]:
    """Return what the job drew from stores and what it may still cost, for those who may see money."""
    taken: list[Taken] = drawn(job.boat, job.pk)
    plans = [_plan(row, lines) for row in job.estimates.prefetch_related("amounts")]
    return {
        "drawn": taken,
        "drawn_cost": sum(row.cost for row in taken),
        "drawn_without": sum(1 for row in taken if row.unknown > 0),
        "plans": plans,
        "planned": sum(row.now.amount for row in plans if row.now and not row.estimate.closed_on),
        "estimate_form": EstimateForm(job.boat, initial={"on": request.today}, auto_id="estimate_%s"),
    }


def _plan(estimate: Estimate, lines: list[Line]) -> Plan:
    amounts = list(estimate.amounts.all())
    first = amounts[0].set_on if amounts else None
    services = (
        line.order.number
        for line in reversed(lines)
        if line.kind == LineKind.SERVICE and line.counted and first and line.order.ordered_on
        if line.order.ordered_on >= first
    )
    perhaps = None if estimate.closed_on else next(services, None)
    return Plan(estimate, amounts[-1] if amounts else None, amounts[-2::-1], perhaps)


def choices_for(request: Any, typed: str) -> list[Choice]:
    """Return the parts that come near what is typed."""
    return near_choices(request, parts_named(request.boat, typed))


def near_choices(request: Any, parts: list[Part]) -> list[Choice]:
    return [_choice(row) for row in known(request.boat, parts, request.today)] if parts else []


def _choice(row: Known) -> Choice:
    unit = "" if row.part.unit == "each" else f" {row.part.get_unit_display()}"
    said = row.where.level or f"{format_quantity(row.where.aboard)}{unit}"
    words = [f"{said} aboard"]
    if row.where.ashore:
        words.append(f"{format_quantity(row.where.ashore)}{unit} ashore")
    if row.on_order:
        words.append(f"{format_quantity(row.on_order)}{unit} on order")
    fills = json.dumps({"part": str(row.part.pk), "words": row.part.name})
    return Choice(row.part, ", ".join(words), fills)


def _bought(line: Line, where: dict[int, Whereabouts]) -> Bought:
    state = "cancelled" if line.order.state == OrderState.CANCELLED else line.state_words
    here = where.get(line.part_id) if line.part_id and line.arrived > 0 else None
    return Bought(line, state, here.holdings if here else [])


def _next(request: Any, job: Job, rows: list[Want]) -> dict[str, Any]:
    """Return the way to order for the job, the first thing to take, and which of them comes first."""
    may_buy, may_take = Right.BUY in request.rights, Right.STOW in request.rights
    take = next((row.spots[0][0] for row in rows if row.spots), None)
    short = any(row.short > 0 for row in rows)
    return {
        "order_go": f"{at(request, 'order-new')}?job={job.number}" if may_buy else "",
        "take": take if may_take else None,
        "order_first": may_buy and (short or not (take and may_take)) and any(row.unmet > 0 for row in rows),
    }


def _cost(job: Job) -> dict[str, int]:
    sums = Line.objects.filter(job=job, counted=True).aggregate(
        ordered=Sum("landed"), arrived=Sum("delivered")
    )
    return {name: value or 0 for name, value in sums.items()}
