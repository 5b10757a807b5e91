"""The dated rows that a forecast is made of, read in a fixed number of queries. Reads; decides nothing."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone

from refit.boat.models import Boat, Budget, Contingency
from refit.buying.models import CostStep, CreditShare, DeliveryLine, Line, LineKind, Order, ReturnLine
from refit.stores.kept import takings
from refit.stores.models import Need, Reason
from refit.work.models import Estimate, EstimateAmount, Job


@dataclass(frozen=True)
class OrderRow:
    """An order: how far it is, and since when it is known of."""

    pk: int
    number: int
    supplier: int
    state: str
    ordered_on: date | None
    entered_on: date


@dataclass(frozen=True)
class LineRow:
    """An order line, as it is now."""

    pk: int
    order: int
    part: int | None
    job: int | None
    system: int | None
    quantity: Decimal
    wanted: Decimal
    landed: int
    what: str
    service: bool
    sets_a_price: bool


@dataclass(frozen=True)
class StepRow:
    """One step of what an order costs under a system."""

    order: int
    system: int
    day: date
    placing: bool
    words: str
    difference: int


@dataclass(frozen=True)
class CameRow:
    """So much of a line that came, or won't come, on a day."""

    day: date
    quantity: Decimal
    wont_come: Decimal


@dataclass(frozen=True)
class RefundRow:
    """What came back of one refund under one system."""

    credit: int
    order: int
    system: int
    day: date
    home: int
    words: str


@dataclass(frozen=True)
class JobRow:
    """A job."""

    pk: int
    number: int
    title: str
    system: int
    state: str
    before: str
    done_on: date | None
    found_on_the_way: bool


@dataclass(frozen=True)
class NeedRow:
    """What a job wants, and since when."""

    pk: int
    job: int
    part: int | None
    what: str
    unit: str
    quantity: Decimal
    guess: int | None
    made_on: date
    met_on: date | None


@dataclass(frozen=True)
class EstimateRow:
    """An estimate with its amounts by day."""

    pk: int
    job: int
    words: str
    closed_on: date | None
    amounts: tuple[tuple[date, int], ...]

    def amount_on(self, day: date) -> int | None:
        """Return the amount as it stood on a day; None before the first."""
        known = [amount for set_on, amount in self.amounts if set_on <= day]
        return known[-1] if known else None

    def is_open_on(self, day: date) -> bool:
        return self.closed_on is None or self.closed_on > day


@dataclass(frozen=True)
class TakingRow:
    """What was taken for a job on a day; what was undone is negative."""

    job: int
    part: int
    day: date
    quantity: Decimal


@dataclass(frozen=True)
class BudgetRow:
    """What a system may cost from a day on."""

    system: int
    set_on: date
    amount: int
    note: str


@dataclass(frozen=True)
class Rows:
    """All of it."""

    orders: dict[int, OrderRow]
    lines: list[LineRow]
    lines_of: dict[int, list[LineRow]]
    steps: list[StepRow]
    steps_of: dict[int, list[StepRow]]
    came: dict[int, list[CameRow]]
    back: dict[int, list[tuple[date, Decimal]]]  # by line: so much of it goes back, since when
    refunds: list[RefundRow]
    jobs: dict[int, JobRow]
    needs: list[NeedRow]
    estimates: list[EstimateRow]
    takings: list[TakingRow]
    budgets: list[BudgetRow]
    contingencies: list[tuple[date, int]]


def read(boat: Boat) -> Rows:
    """Read what a boat's forecast is made of."""
    lines, steps = _lines(boat), _steps(boat)
    lines_of: dict[int, list[LineRow]] = defaultdict(list)
    for line in lines:
        lines_of[line.order].append(line)
    steps_of: dict[int, list[StepRow]] = defaultdict(list)
    for step in steps:
        steps_of[step.order].append(step)
    budgets = Budget.objects.filter(boat=boat).order_by("set_on", "id")
    kept_back = Contingency.objects.filter(boat=boat).order_by("set_on", "id")
    return Rows(
        orders=_orders(boat),
        lines=lines,
        lines_of=lines_of,
        steps=steps,
        steps_of=steps_of,
        came=_came(boat),
        back=_back(boat),
        refunds=_refunds(boat),
        jobs=_jobs(boat),
        needs=_needs(boat),
        estimates=_estimates(boat),
        takings=_takings(boat),
        budgets=[BudgetRow(*row) for row in budgets.values_list("system_id", "set_on", "amount", "note")],
        contingencies=list(kept_back.values_list("set_on", "amount")),
    )


def _local(moment: datetime) -> date:
    return timezone.localtime(moment).date()


def _orders(boat: Boat) -> dict[int, OrderRow]:
    rows = Order.objects.filter(boat=boat).order_by("number")
    found = {}
    for pk, number, supplier, state, ordered_on, made_at in rows.values_list(
        "id", "number", "supplier_id", "state", "ordered_on", "made_at"
    ):
        entered = _local(made_at)
        first = min(entered, ordered_on) if ordered_on else entered  # an old order written down later
        found[pk] = OrderRow(pk, number, supplier, state, ordered_on, first)
    return found


def _lines(boat: Boat) -> list[LineRow]:
    rows = Line.objects.filter(boat=boat).order_by("order__ordered_on", "order__number", "position")
    names = ("pk", "order", "part", "job", "system", "quantity", "wont_come", "landed", "kind", "words")
    marks = ("part__name", "counted", "replaces", "gift_value", "second_hand")
    return [_line(row) for row in rows.values(*names, *marks)]


def _line(row: dict[str, Any]) -> LineRow:
    wanted = row["quantity"] - row["wont_come"]
    # A gift, a swap under warranty and second-hand gear say nothing of what the next one costs.
    odd = row["replaces"] or row["second_hand"] or row["gift_value"] is not None
    return LineRow(
        pk=row["pk"],
        order=row["order"],
        part=row["part"],
        job=row["job"],
        system=row["system"],
        quantity=row["quantity"],
        wanted=wanted,
        landed=row["landed"],
        what=row["part__name"] or row["words"],
        service=row["kind"] == LineKind.SERVICE,
        sets_a_price=row["counted"] and row["landed"] > 0 and wanted > 0 and not odd,
    )


def _steps(boat: Boat) -> list[StepRow]:
    rows = CostStep.objects.filter(boat=boat).order_by("counts_from", "id")
    return [
        StepRow(*row)
        for row in rows.values_list("order_id", "system_id", "counts_from", "placing", "words", "difference")
    ]


def _came(boat: Boat) -> dict[int, list[CameRow]]:
    found: dict[int, list[CameRow]] = defaultdict(list)
    rows = DeliveryLine.objects.filter(boat=boat, delivery__undone_at=None)
    names = ("line_id", "delivery__arrived_on", "quantity", "wont_come")
    for line, day, quantity, wont_come in rows.values_list(*names):
        found[line].append(CameRow(day, quantity, wont_come))
    return found


def _back(boat: Boat) -> dict[int, list[tuple[date, Decimal]]]:
    found: dict[int, list[tuple[date, Decimal]]] = defaultdict(list)
    rows = ReturnLine.objects.filter(boat=boat)
    for line, day, quantity in rows.values_list("line_id", "back__said_on", "quantity"):
        found[line].append((day, quantity))
    return found


def _refunds(boat: Boat) -> list[RefundRow]:
    rows = (
        CreditShare.objects.filter(
            boat=boat, credit__came_on__isnull=False, line__counted=True, line__system__isnull=False
        )
        .select_related("credit", "line")
        .order_by("credit__came_on", "id")
    )
    return [
        RefundRow(
            row.credit_id,
            row.line.order_id,
            row.line.system_id,
            row.credit.came_on,
            row.home,
            row.credit.get_kind_display(),
        )
        for row in rows
        if row.line.system_id and row.credit.came_on
    ]


def _jobs(boat: Boat) -> dict[int, JobRow]:
    rows = Job.objects.filter(boat=boat).order_by("number")
    names = ("id", "number", "title", "system_id", "state", "before", "done_on", "found_on_the_way")
    return {row[0]: JobRow(*row) for row in rows.values_list(*names)}


def _needs(boat: Boat) -> list[NeedRow]:
    rows = Need.objects.filter(boat=boat).order_by("job_id", "id")
    names = (
        "id",
        "job_id",
        "part_id",
        "words",
        "part__name",
        "part__unit",
        "quantity",
        "guess",
        "made_on",
        "met_at",
    )
    return [
        NeedRow(
            pk,
            job,
            part,
            name or words,
            unit if unit and unit != "each" else "",
            quantity,
            guess,
            made_on,
            _local(met_at) if met_at else None,
        )
        for pk, job, part, words, name, unit, quantity, guess, made_on, met_at in rows.values_list(*names)
    ]


def _estimates(boat: Boat) -> list[EstimateRow]:
    amounts: dict[int, list[tuple[date, int]]] = defaultdict(list)
    kept = EstimateAmount.objects.filter(boat=boat).order_by("set_on", "id")
    for estimate, set_on, amount in kept.values_list("estimate_id", "set_on", "amount"):
        amounts[estimate].append((set_on, amount))
    rows = Estimate.objects.filter(boat=boat).order_by("id")
    return [
        EstimateRow(pk, job, words, closed_on, tuple(amounts[pk]))
        for pk, job, words, closed_on in rows.values_list("id", "job_id", "words", "closed_on")
    ]


def _takings(boat: Boat) -> list[TakingRow]:
    names = ("job_id", "part_id", "entry__happened_on", "quantity", "reason")
    rows = takings().filter(boat=boat).values_list(*names)
    return [
        TakingRow(job, part, day, quantity if reason == Reason.USED else -quantity)
        for job, part, day, quantity, reason in rows
        if job
    ]
