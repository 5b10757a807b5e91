"""The town run: what to bring from which shop, with what it must fit and a picture to show over the counter.

On a shop's list stand the lines of its order not placed yet, and what the buy list would rather buy there than elsewhere.
What nobody is known to sell stands under any shop. Reads in a constant number of queries; decides no prices.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from refit.boat.models import Boat, Paper, PlacePaper
from refit.buying.models import Delivery, Line, Order, OrderState, Supplier
from refit.buying.prices import Price
from refit.buying.to_buy import BuyRow, ToBuy, Urgency, to_buy
from refit.stores.models import NumberKind, Part, PartNumber
from refit.work.models import Job

TOWN = "Town run"
FEW = 500


@dataclass
class TownItem:
    """One thing to bring. It is either a row of the buy list (`key`) or a line of the shop's list (`line`)."""

    what: str
    quantity: Decimal
    part: Part | None = None
    key: str = ""
    line: Line | None = None
    must_fit: str = ""
    jobs: list[Job] = field(default_factory=list)
    number: str = ""
    photo: int | None = None  # number of the paper
    price: Price | None = None
    urgency: Urgency | None = None
    wanted_by: date | None = None
    one_piece: bool = False
    has_system: bool = True

    @property
    def unit(self) -> str:
        return "" if self.part is None or self.part.unit == "each" else self.part.get_unit_display()

    @property
    def size(self) -> str:
        return self.part.specification if self.part else ""

    @property
    def name(self) -> str:
        """Return the word that a form names it by."""
        return f"l{self.line.pk}" if self.line else self.key


@dataclass(frozen=True)
class ShopList:
    """What to bring from one shop; None is any shop."""

    shop: Supplier | None
    items: list[TownItem]


def town_rows(boat: Boat, today: date, known: ToBuy | None = None) -> list[ShopList]:
    """Return what to bring, shop by shop by name, what any shop may have last; empty shops are left out."""
    found = known or to_buy(boat, today)
    lists: dict[int, list[TownItem]] = defaultdict(list)
    for line in _listed(boat):
        lists[line.order.supplier_id].append(_of_line(line))
    for row in found.rows:
        if row.best is None:
            lists[0].append(_of_row(row))
        elif row.best.supplier.is_shop:
            lists[row.best.supplier.pk].append(_of_row(row))
    _numbers(boat, [item for items in lists.values() for item in items])
    _photos(boat, found, [item for items in lists.values() for item in items])
    anywhere = lists.pop(0, [])
    suppliers = found.prices.leads.suppliers
    shops = sorted(lists, key=lambda pk: suppliers[pk].folded)
    shown = [ShopList(suppliers[pk], lists[pk]) for pk in shops]
    return [*shown, ShopList(None, anywhere)] if anywhere else shown


def bought_today(boat: Boat, today: date) -> list[tuple[Order, list[Line]]]:
    """Return today's orders of the town run with their lines, for their receipts; two queries."""
    orders = list(
        Order.objects.counted().filter(boat=boat, note=TOWN, ordered_on=today).select_related("supplier")
    )
    lines: dict[int, list[Line]] = defaultdict(list)
    for line in Line.objects.filter(order__in=orders).select_related("part").order_by("position"):
        lines[line.order_id].append(line)
    return [(order, lines[order.pk]) for order in orders]


def was_in_town(delivery: Delivery) -> bool:
    """Return whether a delivery was a thing bought in town."""
    return delivery.note == TOWN


def _listed(boat: Boat) -> Iterable[Line]:
    rows = Line.objects.filter(boat=boat, order__state=OrderState.DRAFT, order__supplier__is_shop=True)
    return rows.select_related("order", "part", "job", "need").order_by("order__number", "position")


def _of_line(line: Line) -> TownItem:
    return TownItem(
        what=line.what,
        quantity=line.quantity,
        part=line.part,
        line=line,
        must_fit=line.need.must_fit if line.need else "",
        jobs=[line.job] if line.job else [],
        wanted_by=line.need.wanted_by if line.need else None,
        one_piece=line.need.one_piece if line.need else False,
        has_system=line.system_id is not None,
    )


def _of_row(row: BuyRow) -> TownItem:
    return TownItem(
        what=row.what,
        quantity=row.to_buy,
        part=row.part,
        key=row.key,
        must_fit=row.must_fit,
        jobs=row.jobs,
        price=row.best.price if row.best else None,
        urgency=row.urgency,
        wanted_by=row.wanted_by,
        one_piece=row.one_piece,
        has_system=all(wish.job for wish in row.wanted) or bool(row.part and row.part.system_id),
    )


def _numbers(boat: Boat, items: list[TownItem]) -> None:
    """Name each part's number to ask by: the maker's, else the first that is no barcode."""
    rank: list[str] = [NumberKind.MAKER, NumberKind.SUPPLIER, NumberKind.SUPERSEDED]
    ids = {item.part.pk for item in items if item.part}
    rows = PartNumber.objects.filter(boat=boat, kind__in=rank)
    if len(ids) <= FEW:
        rows = rows.filter(part_id__in=ids)
    best: dict[int, tuple[int, int, str]] = {}
    for part, pk, kind, number in rows.values_list("part_id", "id", "kind", "number"):
        key = (rank.index(kind), pk, number)
        best[part] = min(best.get(part, key), key)
    for item in items:
        if item.part and item.part.pk in best:
            item.number = best[item.part.pk][2]


def _photos(boat: Boat, found: ToBuy, items: list[TownItem]) -> None:
    """Find a picture of each thing: the part's own, else the first of the bag that it came out of."""
    bags: dict[str, int] = {}
    for row in found.rows:
        for wish in row.wanted:
            if wish.need is not None and wish.need.bag_id is not None:
                bags.setdefault(row.key, wish.need.bag_id)
    for item in items:
        if item.line is not None and item.line.need is not None and item.line.need.bag_id is not None:
            bags[item.name] = item.line.need.bag_id
    shown = PlacePaper.objects.filter(boat=boat, location__bags__in=set(bags.values())).order_by("-id")
    of_bag = dict(shown.values_list("location__bags", "paper__number"))
    photos = {item.part.photo_id for item in items if item.part and item.part.photo_id}
    numbers = dict(Paper.objects.filter(boat=boat, pk__in=photos).values_list("pk", "number"))
    for item in items:
        own = numbers.get(item.part.photo_id) if item.part and item.part.photo_id else None
        item.photo = own or of_bag.get(bags.get(item.name, 0))
