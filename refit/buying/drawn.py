"""What jobs drew from stores, and what lies in them: at the moving average, replayed from the stores ledger.

Nothing of this is stored. What came on an order came at its landed cost (less money that came back on goods that
were kept); what was put in or found otherwise came at a cost nobody knows, and stays without a value. What was
bought for a job counts there; only what the job took beyond that is drawn from stores. Things kept by level have no
quantity, so they are in no replay. What was taken off the boat cost nothing. A cut moves no value; bits take theirs
along. The value of a kit that was opened goes to what was in it, by what that cost last, else by count.
"""

from collections import defaultdict, deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import Q, Sum

from refit.boat.models import Boat
from refit.buying.models import CreditKind, CreditShare
from refit.calc.average import Drawn, In, Out, moving_average
from refit.calc.landed import delivered_value
from refit.calc.money import allocate
from refit.stores.models import Kept, Movement, Part, Reason

NIL = Decimal(0)
NEUTRAL = (Reason.MOVED, Reason.LEVEL, Reason.CUT)
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
class Opened:
    """What one thing out of a kit got of its value: so much of it has one, and that is its cost."""

    known: Decimal
    cost: int


@dataclass(frozen=True)
class _Move:
    pk: int
    entry: int
    reason: str
    quantity: Decimal
    job: int | None
    cost: int | None  # of what came on an order
    bought_for: int | None  # the job; of what was sent back too
    comes: bool = True


def drawn(boat: Boat, job: int) -> list[Taken]:
    """Return what a job drew from stores, part by part, in a fixed number of queries."""
    parts = Part.objects.filter(
        boat=boat, movements__job=job, movements__reason=Reason.USED, kept=Kept.COUNTED
    ).distinct()
    by_pk = {part.pk: part for part in parts.order_by("name", "id")}
    if not by_pk:
        return []
    replays = Replays(_moves(boat, by_pk))
    found = []
    for pk, part in by_pk.items():
        quantities, replay = replays.of(pk)
        quantity = quantities.get(job, NIL)
        if quantity > 0:
            cost, unknown = replay.costs.get(job, 0), replay.unknown.get(job, NIL)
            found.append(Taken(part, quantity, cost, unknown))
    return found


def value(boat: Boat) -> Value:
    """Return what lies in stores at the moving average."""
    every = Replays(_moves(boat))
    replays = [every.of(pk)[1] for pk in every.moves]
    lying = [replay for replay in replays if replay.left > 0]
    return Value(
        worth=sum(replay.left_cost for replay in lying),
        parts=len(lying),
        without=sum(1 for replay in lying if replay.left_unknown > 0),
    )


class Replays:
    """The replay of each part, worked out once: that of a kit before that of what was in it."""

    def __init__(self, moves: dict[int, list[_Move]]) -> None:
        self.moves = moves
        self._done: dict[int, tuple[dict[int, Decimal], Drawn]] = {}
        self._opened: dict[int, dict[int, Opened]] = {}
        self._kits = {move.entry: pk for pk, some in moves.items() for move in some if _is_kit(move)}
        self._inside: dict[int, list[tuple[int, _Move]]] = defaultdict(list)
        for pk, some in moves.items():
            for move in some:
                if move.reason == Reason.KIT and move.comes:
                    self._inside[move.entry].append((pk, move))

    def of(self, part: int) -> tuple[dict[int, Decimal], Drawn]:
        """Return how much each job drew of a part, and the replay that says what it cost."""
        if part not in self._done:
            self._done[part] = _NOTHING  # a kit in itself, in the end: what it was opened for is not known
            given: list[_Move] = []
            for move in self.moves.get(part, []):
                given += self._valued(part, move)
            events, drew = _events(given)
            self._done[part] = (drew, moving_average(_enough(events)))
        return self._done[part]

    def _valued(self, part: int, move: _Move) -> list[_Move]:
        """Return a movement with what it cost; what came out of a kit is split in what has a value and what has not."""
        if move.reason != Reason.KIT or not move.comes:
            return [move]
        opened = self._entry(move.entry).get(move.pk)
        if opened is None or opened.known <= 0:
            return [move]
        known = replace(move, quantity=opened.known, cost=opened.cost)
        rest = move.quantity - opened.known
        return [known, replace(move, quantity=rest)] if rest > 0 else [known]

    def _entry(self, entry: int) -> dict[int, Opened]:
        """Return, for each thing that came out of one kit, its share of what the kit had cost."""
        if entry not in self._opened:
            kit = self._kits.get(entry)
            self._opened[entry] = self._shares(entry, kit) if kit is not None else {}
        return self._opened[entry]

    def _shares(self, entry: int, kit: int) -> dict[int, Opened]:
        key = -next(move.pk for move in self.moves[kit] if move.entry == entry and _is_kit(move))
        replay = self.of(kit)[1]
        if key not in replay.costs:
            return {}
        inside = self._inside[entry]
        worth = [self._last_price(pk, move.pk) for pk, move in inside]
        by_count = any(each is None for each in worth) or not any(worth)
        weights = [
            move.quantity * (Decimal(1) if by_count else each or 0)
            for (_, move), each in zip(inside, worth, strict=True)
        ]
        shares = allocate(replay.costs[key], weights)
        known = Decimal(1) - replay.unknown[key]  # of the one kit
        return {
            move.pk: Opened(_part_of(move.quantity, known, share), share)
            for (_, move), share in zip(inside, shares, strict=True)
        }

    def _last_price(self, part: int, before: int) -> Decimal | None:
        """Return what one of a part cost when it last came on an order before a movement, in minor units."""
        came = [move for move in self.moves[part] if move.cost is not None and move.pk < before]
        bought = [move for move in came if move.reason == Reason.DELIVERED and move.cost is not None]
        return Decimal(bought[-1].cost or 0) / bought[-1].quantity if bought else None


def _is_kit(move: _Move) -> bool:
    return move.reason == Reason.KIT and not move.comes


def _part_of(quantity: Decimal, known: Decimal, share: int) -> Decimal:
    """Return how much of a quantity has the value; all of it where rounding would leave a value with nothing."""
    some = (quantity * known).quantize(Decimal("0.001"), ROUND_HALF_UP)
    return quantity if share and some <= 0 else some


_NOTHING: tuple[dict[int, Decimal], Drawn] = ({}, Drawn({}, {}, NIL, 0, NIL))


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
        if _is_kit(move):
            events.append(Out(move.quantity, -move.pk))
            continue
        if move.reason in (Reason.DELIVERED, Reason.OPENING, Reason.FOUND, Reason.KIT, Reason.OFF):
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
    rows = rows.filter(reverses=None, reversed_by=None).exclude(reason__in=NEUTRAL)
    if parts is not None:
        kits = Movement.objects.filter(boat=boat, reason=Reason.KIT).order_by().values("part")
        rows = rows.filter(Q(part__in=list(parts)) | Q(part__in=kits))
    off = _money_off(boat)
    so_far: dict[int, Decimal] = defaultdict(lambda: NIL)
    found: dict[int, list[_Move]] = defaultdict(list)
    names = ("id", "part_id", "entry_id", "reason", "quantity", "job_id", "to_place_id")
    line = ("delivery_line__value", "delivery_line__line_id", "delivery_line__line__job_id")
    much = ("delivery_line__line__quantity", "delivery_line__line__wont_come", "return_line__line__job_id")
    for (
        pk,
        part,
        entry,
        reason,
        quantity,
        job,
        to,
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
        if reason == Reason.OFF:
            cost = 0
        found[part].append(_Move(pk, entry, reason, quantity, job, cost, bought_for or back_of, bool(to)))
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
