"""The steps in which an order came to what it costs, by system and day.

Decides when a change counts: what an order came to when it was placed, from the day of ordering; any later change,
from the day on which it was made. An order that is not placed has no steps. Only `buying.costing` calls `keep`.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date

from django.db.models import Sum
from django.utils import timezone

from refit.buying.models import CostStep, Line, Order, OrderState


def keep(
    orders: Iterable[Order], lines: dict[int, list[Line]], *, on: date | None = None, words: str = ""
) -> None:
    """Write down what changed of these orders since their last step (`on`: today unless given)."""
    day = on or timezone.localdate()
    group = list(orders)
    there: dict[int, list[CostStep]] = defaultdict(list)
    for step in CostStep.objects.filter(order__in=group).order_by("id"):
        there[step.order_id].append(step)
    made, moved, gone = [], [], []
    for order in group:
        steps = there[order.pk]
        if order.state == OrderState.DRAFT or order.ordered_on is None:
            gone += steps  # never placed, or taken back: it says nothing of any day
            continue
        moved += _put_on_its_day(order, steps)
        made += _new_steps(order, lines[order.pk], steps, day, words)
    if gone:
        CostStep.objects.filter(pk__in=[step.pk for step in gone]).delete()
    if moved:
        CostStep.objects.bulk_update(moved, ["counts_from"])
    CostStep.objects.bulk_create(made, batch_size=200)


def _put_on_its_day(order: Order, steps: list[CostStep]) -> list[CostStep]:
    """Set the days of steps after a corrected day of ordering; return those that moved."""
    moved = []
    for step in steps:
        first = order.ordered_on or step.counts_from
        right = first if step.placing else max(step.counts_from, first)
        if step.counts_from != right:
            step.counts_from = right
            moved.append(step)
    return moved


def _new_steps(
    order: Order, lines: list[Line], steps: list[CostStep], day: date, words: str
) -> list[CostStep]:
    before: dict[int, int] = defaultdict(int)
    for step in steps:
        before[step.system_id] += step.difference
    now: dict[int, int] = defaultdict(int)
    for line in lines:
        if line.counted and line.system_id:
            now[line.system_id] += line.landed
    first = order.ordered_on or day
    return [
        CostStep(
            boat_id=order.boat_id,
            order=order,
            system_id=system,
            counts_from=max(day, first) if steps else first,
            placing=not steps,
            words=words if steps else "",
            difference=now.get(system, 0) - before.get(system, 0),
        )
        for system in sorted({*before, *now})
        if now.get(system, 0) != before.get(system, 0) or not steps
    ]


def differences() -> Iterator[str]:
    """Yield one sentence for every order whose steps do not add up to its lines."""
    lines: dict[tuple[int, int | None], int] = {
        (order, system): total
        for order, system, total in Line.objects.filter(counted=True)
        .order_by()
        .values_list("order_id", "system_id")
        .annotate(total=Sum("landed"))
    }
    steps: dict[tuple[int, int | None], int] = {
        (order, system): total
        for order, system, total in CostStep.objects.order_by()
        .values_list("order_id", "system_id")
        .annotate(total=Sum("difference"))
    }
    wrong = sorted({key[0] for key in {*lines, *steps} if lines.get(key, 0) != steps.get(key, 0)})
    found = Order.objects.filter(pk__in=wrong).select_related("boat").order_by("pk") if wrong else ()
    for order in found:
        made = sum(total for key, total in steps.items() if key[0] == order.pk)
        down = sum(total for key, total in lines.items() if key[0] == order.pk)
        yield f"{order.boat.slug} order {order.number}: its steps make {made}, its lines {down}, by system."
