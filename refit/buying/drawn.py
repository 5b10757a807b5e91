"""What jobs drew from stores, and what lies in them: at the moving average, replayed from the stores ledger.

Nothing of this is stored. What came on an order came at its landed cost (less money that came back on goods that
were kept); what was put in or found otherwise came at a cost nobody knows, and stays without a value. What was
bought for a job counts there; only what the job took beyond that is drawn from stores. Things kept by level have no
quantity, so they are in no replay.
"""

from collections import defaultdict, deque
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Q, Sum

from refit.boat.models import Boat
from refit.buying.models import CreditKind, CreditShare
from refit.calc.average import Drawn, In, Out, moving_average
from refit.calc.landed import delivered_value
from refit.stores.models import Kept, Movement, Part, Reason

NIL = Decimal(0)
OWN = 0  # the key of what a job took of what was bought for it, and of what left for no job


@dataclass(frozen=True)
class Taken:
    """So much of a part that a job drew from stores: what it cost, and how much of it has no value."""

    part: Part
    quantity: Decimal
    cost: int
    unknown: Decimal


@dataclass(frozen=True)
class Value:
    """What lies in stores, at the moving average, and how many parts of it have no value."""

    worth: int
    parts: int
    without: int


@dataclass(frozen=True)
class _Move:
    pk: int
    entry: int
    reason: str
    quantity: Decimal
    job: int | None
    cost: int | None  # of what came on an order
    bought_for: int | None  # the job; of what was sent back too


def drawn(boat: Boat, job: int) -> list[Taken]:
    """Return what a job drew from stores, part by part, in a fixed number of queries."""
    parts = Part.objects.filter(
        boat=boat, movements__job=job, movements__reason=Reason.USED, kept=Kept.COUNTED
    ).distinct()
    by_pk = {part.pk: part for part in parts.order_by("name", "id")}
    if not by_pk:
        return []
    moves = _moves(boat, by_pk)
    found = []
    for pk, part in by_pk.items():
        quantities, replay = _replay(moves[pk])
        quantity = quantities.get(job, NIL)
        if quantity > 0:
            cost, unknown = replay.costs.get(job, 0), replay.unknown.get(job, NIL)
            found.append(Taken(part, quantity, cost, unknown))
    return found


def value(boat: Boat) -> Value:
    """Return what lies in stores at the moving average."""
    replays = [_replay(some)[1] for some in _moves(boat).values()]
    lying = [replay for replay in replays if replay.left > 0]
    return Value(
        worth=sum(replay.left_cost for replay in lying),
        parts=len(lying),
        without=sum(1 for replay in lying if replay.left_unknown > 0),
    )


def _replay(moves: list[_Move]) -> tuple[dict[int, Decimal], Drawn]:
    """Return how much each job drew, and the replay that says what it cost."""
    events, drew = _events(moves)
    return drew, moving_average(_enough(events))


def _enough(events: list[In | Out]) -> list[In | Out]:
    """Bring forward what came where, with what was undone left out, something went before it was there."""
    queue, found, there = deque(events), [], NIL
    while queue:
        event = queue.popleft()
        if isinstance(event, Out) and event.quantity > there:
            later = next((other for other in queue if isinstance(other, In)), None)
            if later is not None:
                queue.remove(later)
                queue.extendleft([event, later])
                continue
        there += event.quantity if isinstance(event, In) else -event.quantity
        found.append(event)
    return found


def _events(moves: list[_Move]) -> tuple[list[In | Out], dict[int, Decimal]]:
    straight = _straight(moves)
    own: dict[int, Decimal] = defaultdict(lambda: NIL)  # bought for a job, and not taken by it yet
    drew: dict[int, Decimal] = defaultdict(lambda: NIL)
    events: list[In | Out] = []
    for move in moves:
        if move.pk in straight:
            continue
        if move.reason in (Reason.DELIVERED, Reason.OPENING, Reason.FOUND):
            events.append(In(move.quantity, move.cost))
            if move.bought_for:
                own[move.bought_for] += move.quantity
            continue
        if move.reason == Reason.RETURNED and move.bought_for:
            own[move.bought_for] = max(own[move.bought_for] - move.quantity, NIL)
        if move.reason != Reason.USED or not move.job:
            events.append(Out(move.quantity, OWN))
            continue
        of_own = min(own[move.job], move.quantity)
        own[move.job] -= of_own
        if of_own:
            events.append(Out(of_own, OWN))
        if move.quantity > of_own:
            drew[move.job] += move.quantity - of_own
            events.append(Out(move.quantity - of_own, move.job))
    return events, dict(drew)


def _straight(moves: list[_Move]) -> set[int]:
    """Return what came for a job and was taken for it in the same deed: it never lay in stores."""
    came = {
        (move.entry, move.bought_for, move.quantity): move.pk
        for move in moves
        if move.reason == Reason.DELIVERED and move.bought_for
    }
    found: set[int] = set()
    for move in moves:
        key = (move.entry, move.job, move.quantity)
        if move.reason == Reason.USED and move.job and key in came:
            found |= {move.pk, came.pop(key)}
    return found


def _moves(boat: Boat, parts: Iterable[int] | None = None) -> dict[int, list[_Move]]:
    """Return by part what came and went, as entered; what was undone is as if it had never been."""
    rows = Movement.objects.filter(boat=boat, part__kept=Kept.COUNTED, quantity__gt=0)
    rows = rows.filter(reverses=None, reversed_by=None).exclude(reason__in=[Reason.MOVED, Reason.LEVEL])
    if parts is not None:
        rows = rows.filter(part__in=list(parts))
    off = _money_off(boat)
    so_far: dict[int, Decimal] = defaultdict(lambda: NIL)
    found: dict[int, list[_Move]] = defaultdict(list)
    names = ("id", "part_id", "entry_id", "reason", "quantity", "job_id")
    line = ("delivery_line__value", "delivery_line__line_id", "delivery_line__line__job_id")
    much = ("delivery_line__line__quantity", "delivery_line__line__wont_come", "return_line__line__job_id")
    for (
        pk,
        part,
        entry,
        reason,
        quantity,
        job,
        cost,
        of,
        bought_for,
        ordered,
        wont_come,
        back_of,
    ) in rows.order_by("id").values_list(*names, *line, *much):
        if of in off and cost is not None:
            wanted = ordered - wont_come
            before = delivered_value(off[of], so_far[of], wanted)
            so_far[of] += quantity
            cost -= delivered_value(off[of], so_far[of], wanted) - before
        found[part].append(_Move(pk, entry, reason, quantity, job, cost, bought_for or back_of))
    return found


def _money_off(boat: Boat) -> dict[int, int]:
    """Return what came back on each line whose goods were kept; what was sent back leaves the stores itself."""
    rows = (
        CreditShare.objects.filter(
            ~Q(credit__kind=CreditKind.GOODS), boat=boat, credit__came_on__isnull=False
        )
        .order_by()
        .values_list("line_id")
        .annotate(total=Sum("home"))
    )
    return dict(rows)
