"""Order lines of "All my data": what they say more than the lists of other people do.

Decides how packs, what came and what won't come, and the charges of each kind are read, so that an order comes in as
it was, to the minor unit. How it is checked against the boat, `bills` and `purchases` decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations, product
from typing import Any

from refit.buying.models import ChargeKind, LineKind, OrderState, PricedBy
from refit.calc.landed import Basis
from refit.calc.money import allocate, round_half_up, to_minor
from refit.carry.everything import charge_heading
from refit.carry.importing import own
from refit.carry.importing.cells import ARRIVED, CANCELLED, DRAFT, PART_ARRIVED, TO_COME, Line
from refit.carry.sheets import values
from refit.carry.sheets.book import words
from refit.carry.sheets.values import NumberProblem

MOST = Decimal("999999.999")
NIL = Decimal(0)


@dataclass(frozen=True)
class Sold:
    """A line as it was sold, and how much of it came. `bought` is what still is bought, in the order's minor units."""

    kind: str
    packs: Decimal
    pack_size: Decimal
    price: Decimal  # of one as sold, or in all
    in_all: bool
    bought: int
    came: Decimal
    wont_come: Decimal
    second_hand: bool
    gift: int | None  # what it is worth, minor units of the boat's currency
    charges: dict[str, int]  # by kind, minor units of the boat's currency
    not_billed: int  # of these
    weight: Decimal | None  # of one unit, in kg
    lost_part: bool  # its part, or its place, was taken out of use
    lost_place: bool

    @property
    def wanted(self) -> Decimal:
        """Return how much is still bought, in units."""
        return self.packs * self.pack_size - self.wont_come

    def by(self, basis: str, goods: int) -> Decimal | int | None:
        """Return what a charge on this basis goes by; None where it is not known."""
        if basis == Basis.VALUE:
            return goods
        if basis == Basis.COUNT:
            return self.wanted / self.pack_size
        return (
            NIL
            if self.kind == LineKind.SERVICE
            else None
            if self.weight is None
            else self.weight * self.wanted
        )

    @property
    def is_wanted(self) -> bool:
        """Return whether anything of it is still bought."""
        return self.wanted > 0


def read(lines: Sequence[Line], home: str) -> None:
    """Read what these rows say as order lines of our own; what can't be read is named on its row."""
    for line in lines:
        if line.faults:
            continue
        try:
            _read(_Cells(line), line, home)
        except (NumberProblem, ValueError) as problem:
            line.fault("quantity", f"can't be read with what stands beside it: {problem}")
        if (money := own.money_of(line.plan.headings)) != home:
            line.fault("landed", f"is in {money}, but the boat's money is {home}.")


class _Cells:
    """The cells of one row by their headings."""

    def __init__(self, line: Line) -> None:
        self.headings, self.cells = line.plan.headings, line.row.cells

    def of(self, heading: str) -> Any:
        return own.cell(self.headings, self.cells, heading)

    def number(self, heading: str, otherwise: Decimal = NIL) -> Decimal:
        found = self.of(heading)
        return otherwise if found is None else values.number(found, ".")

    def quantity(self, heading: str, otherwise: Decimal = NIL) -> Decimal:
        found = self.number(heading, otherwise)
        if not 0 <= found <= MOST or found != found.quantize(Decimal("0.001")):
            raise ValueError(f"{heading} {found} is no quantity.")
        return found

    def yes(self, heading: str) -> bool:
        return self.of(heading) == "yes"


def _read(cells: _Cells, line: Line, home: str) -> None:
    kind = {label: key for key, label in LineKind.choices}.get(words(cells.of("Kind")), LineKind.WORDS)
    amount, currency = line.get("total", NIL), line.get("currency") or home
    packs, size = (
        cells.quantity("How many as sold", Decimal(1)),
        cells.quantity("Units in one as sold", Decimal(1)),
    )
    price = cells.number("Price of one as sold")
    quantity, gone = packs * size, cells.quantity("Won't come")
    if quantity <= 0 or gone > quantity or amount < 0 or price < 0:
        raise ValueError("how many, or for how much?")
    in_all = words(cells.of("Priced by")) == PricedBy.TOTAL.label
    whole = to_minor(amount, currency)
    in_all = in_all or to_minor(packs * price, currency) != whole
    worth = cells.of(f"What it is worth, {home}")
    sold = Sold(
        kind=kind,
        packs=packs,
        pack_size=size,
        price=amount if in_all else price,
        in_all=in_all,
        bought=round_half_up(whole * (quantity - gone) / quantity) if gone else whole,
        came=cells.quantity("Arrived"),
        wont_come=gone,
        second_hand=cells.yes("Second-hand"),
        gift=None if worth is None else to_minor(values.number(worth, "."), home),
        charges={
            one.value: to_minor(cells.number(charge_heading(one, home)), home)
            for one in ChargeKind
            if cells.number(charge_heading(one, home))
        },
        weight=None if cells.of("Weight of one, kg") is None else cells.number("Weight of one, kg"),
        not_billed=to_minor(cells.number(f"Not billed yet, {home}"), home),
        lost_part=cells.of("Part retired at") is not None,
        lost_place=cells.of("Place retired at") is not None,
    )
    line.data |= {"sold": sold, "quantity": sold.wanted, "state": _state(cells, line, sold)}
    if sold.came <= 0:
        line.data.pop("arrived", None)
    if kind != LineKind.PART:
        line.data["description"] = words(cells.of("In words"))[:200]


def _state(cells: _Cells, line: Line, sold: Sold) -> str:
    """Return the state of a line: its order's, or how much of it came."""
    if words(cells.of("Order state")) == OrderState.CANCELLED.label:
        return CANCELLED
    if line.get("state") == DRAFT:
        return DRAFT
    if sold.came <= 0:
        return TO_COME
    return ARRIVED if sold.came + sold.wont_come >= sold.packs * sold.pack_size else PART_ARRIVED


@dataclass(frozen=True)
class Borne:
    """A charge as these lines bear it: a discount is above nil too; without `lines` it is over all."""

    kind: str
    amount: int
    lines: tuple[int, ...] | None
    basis: str = Basis.VALUE.value


def charges(rows: Sequence[Line], goods: Sequence[int]) -> list[Borne]:
    """Return the charges that bring lines with these goods what each bears of each kind.

    One charge over all lines where its shares come out as they stand in the rows, else one for each line.
    """
    found: list[Borne] = []
    for kind in ChargeKind.values:
        shares = [row.get("sold").charges.get(kind, 0) for row in rows]
        bearing = [place for place, share in enumerate(shares) if share]
        if bearing:
            one = _shared(rows, goods, kind, shares)
            found += [one] if one else [_borne(kind, shares[place], (place,)) for place in bearing]
    return found


def _shared(rows: Sequence[Line], goods: Sequence[int], kind: str, shares: Sequence[int]) -> Borne | None:
    """Return the one charge whose shares these are; None if no basis makes them."""
    live = tuple(place for place, row in enumerate(rows) if row.get("sold").is_wanted)
    bearing = tuple(place for place, share in enumerate(shares) if share)
    total = sum(shares)
    for over, basis in product(dict.fromkeys((live, bearing)), Basis):
        weights = [rows[place].get("sold").by(basis, goods[place]) for place in over]
        can = total and set(bearing) <= set(over) and None not in weights
        if can and allocate(total, weights) == [shares[place] for place in over]:
            return _borne(kind, total, None if len(over) == len(rows) else over, basis.value)
    return None


def _borne(kind: str, value: int, lines: tuple[int, ...] | None, basis: str = Basis.VALUE.value) -> Borne:
    """Return a charge; what takes off the cost is a discount, and only that."""
    if value < 0:
        kind = ChargeKind.DISCOUNT.value
    elif kind == ChargeKind.DISCOUNT:
        kind = ChargeKind.HANDLING.value
    return Borne(kind, abs(value), lines, basis)


def expected(rows: Sequence[Line]) -> frozenset[str]:
    """Return the kinds of charges of which no bill had come: those that make up what was not billed yet."""
    sold = [row.get("sold") for row in rows]
    wanted = [one.not_billed for one in sold]
    if not any(wanted):
        return frozenset()
    kinds = sorted({kind for one in sold for kind in one.charges})
    for count in range(1, len(kinds) + 1):
        for some in combinations(kinds, count):
            if [sum(one.charges.get(kind, 0) for kind in some) for one in sold] == wanted:
                return frozenset(some)
    return frozenset()
