"""The payments block on the page of an order: what was paid, what is left, which rate is not final, what comes again."""

from dataclasses import dataclass
from datetime import date

from refit.buying import owing
from refit.buying.actions.deposits import deposit_at_stake
from refit.buying.models import COUNTED_STATES, Order, OrderState, PaymentSplit, Repeat, Share
from refit.buying.owing import Owed
from refit.calc.money import from_minor


@dataclass(frozen=True)
class Block:
    """What the page of an order says of payments."""

    owed: Owed | None
    splits: list[PaymentSplit]
    bills: list[Owed]  # charges on this order that are paid to somebody else, or apart
    bill_splits: list[PaymentSplit]
    repeat: Repeat | None
    due: bool
    at_stake: int  # what a lost deposit would cost, in the order's own currency
    not_final: str  # what no payment has settled yet, in words
    can_pay: bool
    can_repeat: bool
    cash_unproved: bool

    @property
    def any(self) -> bool:
        return bool(self.splits or self.bills)


def block_of(order: Order, today: date, *, papers: bool) -> Block:
    """Return the block of an order, in a fixed number of queries; `papers` says whether it has any."""
    rows = PaymentSplit.objects.select_related("payment", "payment__payee")
    splits = list(rows.filter(order=order).order_by("payment__paid_on", "id"))
    # By a query of their own: joined, several shares would count a payment several times.
    borne = Share.objects.filter(line__order=order).values("charge")
    charges = owing.bills(order.boat).filter(pk__in=borne)
    bills = owing.of_bills(charges)
    paid_bills = rows.filter(charge__in=[row.charge for row in bills if row.charge]).select_related("charge")
    owed = owing.of_orders([order]).get(order.pk)
    repeat = Repeat.objects.filter(order=order, stopped_at=None).first()
    return Block(
        owed=owed,
        splits=splits,
        bills=bills,
        bill_splits=list(paid_bills.order_by("payment__paid_on", "id")) if bills else [],
        repeat=repeat,
        due=repeat is not None and repeat.next_on <= today,
        at_stake=deposit_at_stake(order) if splits and order.state != OrderState.ARRIVED else 0,
        not_final=_not_final(order, owed),
        can_pay=order.state in COUNTED_STATES,
        can_repeat=order.state in COUNTED_STATES,
        cash_unproved=not papers and any(split.payment.means == "cash" for split in splits),
    )


def _not_final(order: Order, owed: Owed | None) -> str:
    if owed is None or owed.own_left is None or owed.own_left <= 0 or order.state not in COUNTED_STATES:
        return ""
    return f"{from_minor(owed.own_left, order.currency):,f} {order.currency}"
