"""Orders: the list, one order, and the plain buttons that move it from state to state.

Decides what is shown and where each button leads; what may be done is decided by `buying.actions`.
"""

from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from refit.buying.actions import deliveries as arriving
from refit.buying.actions import orders as buying
from refit.buying.models import Order
from refit.pages import lists, order_list, order_payments, order_sheet, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.deliveries import PlacedForm
from refit.pages.views import chase


def orders(request: Any) -> HttpResponse:
    """List the orders: the sum first, then the sieve and the rows."""
    rows = seeing.orders(request.member).select_related("supplier", "job")
    listing = lists.sieved(request, order_list.OrderSieve, rows, order_list.KEYS)

    def lines(batch: list[Any]) -> Sequence[Sequence[Any]]:
        return order_list.file_rows(order_list.order_rows(batch, request.today))

    file = lists.exported(request, "Orders", order_list.COLUMNS, listing, lines)
    if file is not None:
        return file
    context = {
        "filter": listing.filter,
        "page": listing.page,
        "rows": order_list.order_rows(listing.rows, request.today),
        "sums": order_list.sums(listing.all, request.today),
        "tray": order_list.in_tray(request.boat),
    }
    return render(request, "orders/orders.html", context)


def order(request: Any, number: int) -> HttpResponse:
    """Show one order: what it costs all in, what has come, and the next step."""
    found = _order(request, number)
    return render(request, "orders/order.html", _context(request, found, _placed_form(request, found)))


def place(request: Any, number: int) -> HttpResponse:
    """Mark as ordered, on the day given, else on the day that the order already bears."""
    found = _order(request, number)
    data = request.POST.copy()
    # Undo of "not ordered yet" knows no day; the order does.
    data.setdefault("on", (found.ordered_on or request.today).isoformat())
    form = PlacedForm(request.boat, data)
    if form.is_valid():
        on = form.cleaned_data["on"]

        def deed() -> Done:
            buying.place_order(found, on=on, today=request.today)
            return Done(
                _page(request, number),
                f"Order {number} is ordered, {on:%-d %b %Y}.",
                at(request, "order-draft", number),
            )

        response = act(request, form, deed)
        if response is not None:
            return response
    found = _order(request, number)
    return refused_page(request, "orders/order.html", _context(request, found, form))


def draft(request: Any, number: int) -> HttpResponse:
    """Take the order back to not ordered yet."""
    found = _order(request, number)

    def deed() -> Done:
        buying.back_to_draft(found)
        undo = at(request, "order-place", number)
        return Done(_page(request, number), f"Order {number} is not ordered yet.", undo)

    return press(request, deed, _page(request, number))


def cancel(request: Any, number: int) -> HttpResponse:
    """Cancel the order."""
    found = _order(request, number)

    def deed() -> Done:
        buying.cancel_order(found)
        undo = at(request, "order-uncancel", number)
        return Done(_page(request, number), f"Order {number} is cancelled; it stands in no sum.", undo)

    return press(request, deed, _page(request, number))


def uncancel(request: Any, number: int) -> HttpResponse:
    """Take the cancellation back."""
    found = _order(request, number)

    def deed() -> Done:
        fresh = buying.uncancel_order(found)
        said = f"Order {number} stands again: {fresh.get_state_display().lower()}."
        return Done(_page(request, number), said, at(request, "order-cancel", number))

    return press(request, deed, _page(request, number))


def throw_away(request: Any, number: int) -> HttpResponse:
    """Throw away an order that was never placed."""
    found = _order(request, number)

    def deed() -> Done:
        buying.throw_away(found)
        return Done(at(request, "orders"), f"Threw away order {number}.")

    return press(request, deed, _page(request, number))


def unbuy(request: Any, number: int) -> HttpResponse:
    """Take back a purchase over the counter: payment, arrival and order."""
    found = _order(request, number)

    def deed() -> Done:
        arriving.undo_buy_here(found, by=request.user, today=request.today)
        said = f"Took back the purchase: order {number} is not ordered yet, and nothing of it has come."
        return Done(_page(request, number), said)

    return press(request, deed, _page(request, number))


def _order(request: Any, number: int) -> Order:
    rows = seeing.orders(request.member).select_related("supplier", "job", "job__system", "boat", "made_by")
    found: Order = seeing.one(rows, number=number)
    return found


def _placed_form(request: Any, found: Order) -> PlacedForm:
    return PlacedForm(request.boat, initial={"on": found.ordered_on or request.today})


def _page(request: Any, number: int) -> str:
    return at(request, "order", number)


def _context(request: Any, found: Order, form: Any) -> dict[str, Any]:
    sheet = order_sheet.sheet_of(found, request.today, request.rights)
    pay = order_payments.block_of(found, request.today, papers=bool(sheet.papers))
    return {
        "sheet": sheet,
        "order": found,
        "form": form,
        "pay": pay,
        "chase": chase.block_of(request, found),
    }
