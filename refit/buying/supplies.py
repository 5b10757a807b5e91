"""What lies somewhere or is to come, as supplies for the netting: what is kept for a need or for a job told apart.

Decides what of what lies where is a need's own. What a need reserves is drawn first, out of what lasts longest, so that
it is good still when it is wanted; of a piece only so much is its own, the rest of the piece is free. What came for a job
is that job's after that, whichever of the parts that replace each other it was. What is out of date, unfit or set aside
is no supply. What comes to a place away is here so many days later; an order whose day has passed has no day.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import F

from refit.boat.models import Boat, Location, Where
from refit.buying.models import COMING_STATES, Line
from refit.buying.reading import Wanted
from refit.calc.netting import Source, Supply
from refit.stores.models import GOOD_CONDITIONS, Holding, Kept, Lot, Need, Part
from refit.stores.reading import with_aside
from refit.stores.replaced import chain
from refit.work.planning import job_key

NIL = Decimal(0)
MOST_PIECES = 60  # a line of more packs than this is not told apart piece by piece


def need_key(need: Need) -> str:
    """Return the name of a need in the netting."""
    return f"n{need.pk}"


def family(part: int, parts: dict[int, Part]) -> tuple[int, ...]:
    """Return a part and what took its place, the newest last."""
    return chain(part, lambda pk: parts[pk].superseded_by_id)


@dataclass
class Supplies:
    """The supplies, and the holding or the line that each (by its key) is of."""

    today: date
    supplies: list[Supply] = field(default_factory=list)
    holdings: dict[str, Holding] = field(default_factory=dict)
    lines: dict[str, Line] = field(default_factory=dict)


def supplies_for(boat: Boat, today: date, needs: list[Wanted], parts: dict[int, Part]) -> Supplies:
    """Return all that lies somewhere or is to come of what these needs want; two queries."""
    wanted = {pk for row in needs if row.need.part_id for pk in family(row.need.part_id, parts)}
    found = _Found(today, parts)
    kept = _Kept(needs, parts)
    held = with_aside(Holding.objects.there()).filter(boat=boat).select_related("place__area", "lot")
    lasting = F("lot__expires_on").desc(nulls_first=True)
    for holding in held.order_by(lasting, "place__where", "quantity", "place__mark_sort", "id"):
        if holding.part_id in wanted:
            found.lying(holding, kept)
    lines = Line.objects.filter(boat=boat, order__state__in=COMING_STATES, part__isnull=False)
    for line in lines.select_related("order__supplier", "job", "place__area").order_by(
        "order__expected_on", "id"
    ):
        if line.part_id in wanted and line.open_quantity > 0:
            found.coming(line)
    return found.all


def due_of(line: Line, today: date) -> date | None:
    """Return the day on which what is still to come of a line is here; None where nobody knows (any more)."""
    due = line.order.expected_on
    if due is None or due < today:
        return None
    return due + timedelta(days=_days_away(line.place))


def _days_away(place: Location | None) -> int:
    return place.area.days_away if place and place.where == Where.AWAY and place.area else 0


@dataclass
class _Own:
    """So much is kept for a need (firmly, perhaps as one lot) or for a job."""

    name: str
    rest: Decimal
    lot: int | None = None


class _Kept:
    """What is kept, by part: firmly for a need that reserves it, and for the job that something came for."""

    def __init__(self, needs: Iterable[Wanted], parts: dict[int, Part]) -> None:
        self.firm: dict[int, list[_Own]] = defaultdict(list)
        self.came: dict[int, list[_Own]] = defaultdict(list)
        for row in needs:
            need = row.need
            if need.part_id is None:
                continue
            left = need.quantity - row.taken
            rest = min(need.reserved, left)
            if rest > 0:
                whole = left if need.one_piece and need.reserved_lot_id else rest
                self.firm[need.part_id].append(_Own(need_key(need), whole, need.reserved_lot_id))
            if row.arrived > rest:
                own = _Own(job_key(need.job), row.arrived - rest)
                for part in family(need.part_id, parts):  # one and the same: whichever of them lies here
                    self.came[part].append(own)


class _Found:
    """Gathers supplies."""

    def __init__(self, today: date, parts: dict[int, Part]) -> None:
        self.all, self.parts = Supplies(today), parts

    def lying(self, holding: Holding, kept: _Kept) -> None:
        """Add what lies in one place: what is reserved of it, what came for a job, and the rest."""
        lot: Lot | None = holding.lot
        if lot is not None and (
            lot.condition not in GOOD_CONDITIONS or (lot.expires_on and lot.expires_on < self.all.today)
        ):
            return
        part = self.parts[holding.part_id]
        if part.kept != Kept.COUNTED:
            self._lies(holding, NIL, endless=True)
            return
        free = holding.quantity - getattr(holding, "aside", NIL)
        one_piece = part.in_pieces and lot is not None and lot.number is not None
        here = holding.place.where != Where.AWAY  # nothing is reserved of what is away
        for own in _mine(kept.firm[part.pk], lot) if here else ():
            free -= self._own(holding, own, free, firm=True, one_piece=one_piece)
        for own in kept.came[part.pk]:
            free -= self._own(holding, own, free, one_piece=one_piece)
        if free > 0:
            self._lies(holding, free, one_piece=one_piece)

    def _own(
        self, holding: Holding, own: _Own, free: Decimal, *, firm: bool = False, one_piece: bool
    ) -> Decimal:
        """Add what is somebody's own of a holding, and return how much that is."""
        mine = max(min(own.rest, free), NIL)
        if mine > 0:
            own.rest -= mine
            self._lies(holding, mine, own.name, firm=firm, one_piece=one_piece)
        return mine

    def _lies(
        self,
        holding: Holding,
        quantity: Decimal,
        reserved_for: str = "",
        *,
        firm: bool = False,
        endless: bool = False,
        one_piece: bool = False,
    ) -> None:
        source, days = _source(holding.place)
        key = f"h{holding.pk}/{len(self.all.supplies)}"
        self.all.holdings[key] = holding
        self.all.supplies.append(
            Supply(
                key=key,
                part=holding.part_id,
                quantity=quantity,
                source=source,
                on=self.all.today + timedelta(days=days),
                good_until=holding.lot.expires_on if holding.lot else None,
                one_piece=one_piece,
                place=str(holding.place),
                reserved_for=reserved_for or None,
                firm=firm,
                endless=endless,
            )
        )

    def coming(self, line: Line) -> None:
        """Add what is still to come of a line; of what is kept in pieces, each pack as a piece."""
        part = self.parts[line.part_id or 0]
        packs = [line.open_quantity]
        if part.in_pieces and line.open_quantity % line.pack_size == 0:
            count = int(line.open_quantity / line.pack_size)
            packs = [line.pack_size] * count if count <= MOST_PIECES else packs
        for quantity in packs:
            key = f"l{line.pk}/{len(self.all.supplies)}"
            self.all.lines[key] = line
            self.all.supplies.append(
                Supply(
                    key=key,
                    part=part.pk,
                    quantity=quantity,
                    source=Source.ON_ORDER,
                    on=due_of(line, self.all.today),
                    one_piece=part.in_pieces,
                    place=str(line.order.supplier),
                    reserved_for=job_key(line.job) if line.job else None,
                    order=line.order.number,
                    endless=part.kept != Kept.COUNTED,
                )
            )


def _source(place: Location) -> tuple[Source, int]:
    if place.where == Where.AWAY:
        return Source.AWAY, _days_away(place)
    return (Source.ASHORE if place.where == Where.ASHORE else Source.ABOARD), 0


def _mine(rows: list[_Own], lot: Lot | None) -> list[_Own]:
    """Return what is reserved that may be of this lot: what names it first, then what names none."""
    named = [own for own in rows if own.lot is not None and lot is not None and own.lot == lot.pk]
    return named + [own for own in rows if own.lot is None]
