"""Bills: those that have not come, the one that came, one entered later, one corrected or taken off.

Decides what is shown and where each button leads; shares and landed costs follow in `buying.actions.charges`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, Min, Q, QuerySet, Sum
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.models import Boat
from refit.buying.actions import charges as acts
from refit.buying.actions.orders import add_supplier
from refit.buying.models import COUNTED_STATES, Charge, ChargeKind, Line, Order, Supplier
from refit.pages import lists, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.bills import AddBillForm, BillForm, WholeBillForm
from refit.reports.workbook import Column, Kind

LATE_DAYS = 30  # an expected bill that has not come by then is asked for
PARCEL_DAYS = 120  # orders placed so near each other may have come in one parcel
MOST_OTHERS = 12
KEYS = {
    "placed": ["placed_on", "number"],
    "what": ["kind", "placed_on"],
    "payee": ["payee__name", "placed_on"],
    "order": ["number", "placed_on"],
    "amount": ["home", "placed_on"],
}
COLUMNS = (
    Column("Bill"),
    Column("Paid to"),
    Column("Order", Kind.NUMBER),
    Column("Other orders", Kind.NUMBER),
    Column("Ordered", Kind.DATE),
    Column("Days", Kind.NUMBER),
    Column("Expected", Kind.MONEY),
)


@dataclass(frozen=True)
class Waiting:
    """One bill that has not come."""

    charge: Any
    days: int

    @property
    def late(self) -> bool:
        return self.days >= LATE_DAYS


def bills(request: Any) -> HttpResponse:
    """List the bills that have not come, the oldest first."""
    listing = lists.listed(request, not_come_yet(request.boat), KEYS)

    def rows(batch: list[Any]) -> list[Waiting]:
        return [Waiting(charge, (request.today - charge.placed_on).days) for charge in batch]

    def lines(batch: list[Any]) -> Sequence[Sequence[Any]]:
        return [_file_row(row) for row in rows(batch)]

    file = lists.exported(request, "Bills to come", COLUMNS, listing, lines)
    if file is not None:
        return file
    late = late_bills(request.boat, request.today)
    sums = Charge.objects.filter(pk__in=not_come_yet(request.boat).values("pk")).aggregate(total=Sum("home"))
    context = {"page": listing.page, "rows": rows(listing.rows), "late": late, "total": sums["total"] or 0}
    return render(request, "bills/bills.html", context | {"late_days": LATE_DAYS})


def not_come_yet(boat: Boat) -> "QuerySet[Any]":
    """Return the expected charges of placed orders, each with its first order and the day that was placed."""
    standing = Charge.objects.filter(boat=boat, expected=True, shares__line__order__state__in=COUNTED_STATES)
    return standing.select_related("payee", "boat").annotate(
        placed_on=Min("shares__line__order__ordered_on"),
        number=Min("shares__line__order__number"),
        orders=Count("shares__line__order", distinct=True),
        seller=Min("shares__line__order__supplier__name"),
    )


def late_bills(boat: Boat, today: date) -> int:
    """Return how many bills have not come 30 days after the order."""
    before = today - timedelta(LATE_DAYS)
    return not_come_yet(boat).filter(placed_on__lte=before).count()


def came(request: Any, pk: int) -> HttpResponse:
    """Put the real bill in the place of what was expected."""
    charge = _charge(request, pk)
    payee = charge.payee.name if charge.payee else ""
    start = {"currency": request.boat.currency, "billed_on": request.today, "payee": payee}
    form = BillForm(request.boat, _sent(request), initial=start)
    home = _home(request, charge)
    if request.method == "POST" and form.is_valid():

        def deed() -> Done:
            acts.bill_came(
                charge, form.bill(_payee(request, form), charge), by=request.user, today=request.today
            )
            said = f"The bill for {_name(charge)} came; what each line bears is worked out anew."
            return Done(home, said, at(request, "bill-not-come", pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return _page(request, "bills/came.html", form, {"charge": charge, "back": home})


def not_come(request: Any, pk: int) -> HttpResponse:
    """Take the real bill back and expect it again."""
    charge = _charge(request, pk)
    home = _home(request, charge)

    def deed() -> Done:
        acts.bill_did_not_come(charge, by=request.user, today=request.today)
        return Done(home, f"The bill for {_name(charge)} is expected again.")

    return press(request, deed, home)


def change(request: Any, pk: int) -> HttpResponse:
    """Correct a charge of a placed order."""
    charge = _charge(request, pk)
    form = WholeBillForm(request.boat, _sent(request), charge=charge)
    home = _home(request, charge)
    if request.method == "POST" and form.is_valid():

        def deed() -> Done:
            bill = form.whole(_payee(request, form))
            acts.change_charge(charge, bill, by=request.user, today=request.today)
            return Done(home, f"Corrected {_name(charge)}; what it was stands under What was changed.")

        response = act(request, form, deed)
        if response is not None:
            return response
    return _page(request, "bills/change.html", form, {"charge": charge, "back": home})


def take_off(request: Any, pk: int) -> HttpResponse:
    """Take a charge off."""
    charge = _charge(request, pk)
    home = _home(request, charge)

    def deed() -> Done:
        acts.remove_charge(charge, by=request.user, today=request.today)
        return Done(home, f"Took {_name(charge)} off; what it was stands under What was changed.")

    return press(request, deed, home)


def add(request: Any, number: int) -> HttpResponse:
    """Enter a bill that came later, over lines of this order and of others in the same parcel."""
    rows = seeing.orders(request.member).select_related("supplier", "boat")
    order = seeing.one(rows.filter(state__in=COUNTED_STATES), number=number)
    others = _near(order)
    lines = _lines([order, *others])
    mine = [str(line.pk) for line in lines if line.order_id == order.pk]
    start = {
        "currency": request.boat.currency,
        "billed_on": request.today,
        "line": mine,
        "kind": ChargeKind.DUTY,
    }
    form = AddBillForm(request.boat, lines, _sent(request), initial=start)
    if request.method == "POST" and form.is_valid():

        def deed() -> Done:
            bill = form.whole(_payee(request, form))
            made = acts.add_charge(request.boat, form.lines, bill, by=request.user, today=request.today)
            there = at(request, "order", number)
            return Done(
                there, f"Added {_name(made)}: {_over(form.lines)}.", at(request, "bill-take-off", made.pk)
            )

        response = act(request, form, deed)
        if response is not None:
            return response
    ticked = form.ticked
    groups = [
        (one, [(line, str(line.pk) in ticked) for line in lines if line.order_id == one.pk])
        for one in [order, *others]
    ]
    context = {
        "order": order,
        "mine": groups[0][1],
        "others": groups[1:],
        "parcel": any(tick for _, some in groups[1:] for _, tick in some),
        "back": at(request, "order", number),
    }
    return _page(request, "bills/add.html", form, context)


def _over(lines: Sequence[Line]) -> str:
    orders = {line.order_id for line in lines}
    over = "1 line" if len(lines) == 1 else f"{len(lines)} lines"
    return f"shared over {over} of {len(orders)} orders" if len(orders) > 1 else f"shared over {over}"


def _near(order: Order) -> list[Order]:
    """Return the other orders that may have come in the same parcel: placed about the same time, newest first."""
    day: Any = order.ordered_on
    near = Q(ordered_on__gte=day - timedelta(PARCEL_DAYS), ordered_on__lte=day + timedelta(PARCEL_DAYS))
    found = Order.objects.counted().filter(near, boat=order.boat).exclude(pk=order.pk)
    return list(found.select_related("supplier", "boat").order_by("-ordered_on", "-number")[:MOST_OTHERS])


def _lines(orders: Sequence[Order]) -> list[Line]:
    found = Line.objects.filter(order__in=[order.pk for order in orders], counted=True)
    return list(found.select_related("part", "order").order_by("order_id", "position"))


def _charge(request: Any, pk: int) -> Charge:
    """Return a charge of a placed order; those of a draft are changed with the draft."""
    rows = Charge.objects.filter(boat=request.boat, shares__line__order__state__in=COUNTED_STATES)
    found: Charge = seeing.one(rows.select_related("boat", "payee", "order").distinct(), pk=pk)
    return found


def _home(request: Any, charge: Charge) -> str:
    """Return the page of the order one came from, else of the first that bears this charge."""
    numbers = set(Order.objects.filter(lines__shares__charge=charge).values_list("number", flat=True))
    asked = request.GET.get("order", "")
    number = int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 10 else 0
    return at(request, "order", number if number in numbers else min(numbers))


def _payee(request: Any, form: BillForm) -> Supplier | None:
    """Return who is paid, made if there is none of that name; call it within the deed."""
    if not form.payee_name:
        return None
    return form.known_payee or add_supplier(request.boat, form.payee_name)


def _name(charge: Charge) -> str:
    return charge.words or charge.get_kind_display().lower()


def _sent(request: Any) -> Any:
    return request.POST if request.method == "POST" else None


def _page(request: Any, template: str, form: Any, context: dict[str, Any]) -> HttpResponse:
    context = {"form": form, **context}
    return refused_page(request, template, context) if form.is_bound else render(request, template, context)


def _file_row(row: Waiting) -> list[Any]:
    charge = row.charge
    return [
        str(charge),
        charge.payee.name if charge.payee else charge.seller,
        Decimal(charge.number),
        Decimal(charge.orders - 1),
        charge.placed_on,
        Decimal(row.days),
        charge.home,
    ]
