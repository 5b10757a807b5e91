"""Booking in what came, and taking a delivery back. Decides what the page says; the rules are in `buying.actions`."""

import json
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.models import Kind
from refit.boat.refusals import Refused
from refit.buying.actions import deliveries as arriving
from refit.buying.actions import deposits
from refit.buying.actions.deliveries import Arrival
from refit.buying.models import COMING_STATES, Delivery, DeliveryLine, Line, Order
from refit.calc.numbers import format_quantity
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.deliveries import BookInForm, read_labels
from refit.pages.order_list import is_late, shortly
from refit.stores.models import Unit
from refit.stores.reading import parts_named


def book_in(request: Any, number: int) -> HttpResponse:
    """Ask what came, and book it in; a photo of a label among what is sent only fills in its place."""
    order = _order(request, number)
    others = _same_parcel(order)
    orders = [order, *(other for other in others if str(other.number) in request.GET.getlist("with"))]
    lines = _open_lines(orders)
    if request.method != "POST":
        form = BookInForm(request.boat, lines, initial={"on": request.today})
        return render(request, "deliveries/book_in.html", _context(request, form, orders, others))
    if request.FILES:
        return _read_labels(request, lines, orders, others)
    form = BookInForm(request.boat, lines, request.POST)
    if form.is_valid():
        response = act(
            request, form, lambda: _booked(request, order, form.arrivals(), form.cleaned_data["on"])
        )
        if response is not None:
            return response
    return refused_page(request, "deliveries/book_in.html", _context(request, form, orders, others))


def all_came(request: Any, number: int) -> HttpResponse:
    """Book in everything that is still to come, unopened: each to its intended place, else not stowed yet."""
    order = _order(request, number)

    def deed() -> Done:
        arrivals = [
            Arrival(
                line,
                line.open_quantity,
                place=line.place if line.place and line.place.holds_things else None,
            )
            for line in _open_lines([order])
        ]
        if not arrivals:
            raise Refused(f"Nothing of order {number} is still to come.", code="nothing_open")
        return _booked(request, order, arrivals, request.today)

    return press(request, deed, at(request, "order", number))


def undo(request: Any, pk: int) -> HttpResponse:
    """Take a delivery back, with everything it brought in."""
    delivery = seeing.one(Delivery.objects.filter(boat=request.boat), pk=pk)
    number = delivery.lines.values_list("line__order__number", flat=True).first()
    back = at(request, "order", number) if number else at(request, "orders")

    def deed() -> Done:
        if deposits.says_lost(delivery):
            deposits.find_deposit(delivery, by=request.user, today=request.today)
            return Done(back, f"The deposit on order {number} is not lost.")
        arriving.undo_delivery(delivery, by=request.user, today=request.today)
        return Done(back, f"Taken back: what came on {delivery.arrived_on:%-d %b %Y}. It is still to come.")

    return press(request, deed, back)


def came_as_parts(request: Any, number: int) -> HttpResponse:
    """Offer the parts that fit what is typed, for what came as another part."""
    _order(request, number)
    typed = next((value for name, value in request.GET.items() if name.endswith("as_words")), "")
    parts = parts_named(request.boat, typed[:100])
    rows = [
        {"part": part, "json": json.dumps({"as_part": str(part.pk), "as_words": part.name})} for part in parts
    ]
    return render(request, "deliveries/_parts.html", {"rows": rows, "typed": typed.strip()})


def _booked(request: Any, order: Order, arrivals: list[Arrival], on: Any) -> Done:
    delivery = arriving.book_in(request.boat, arrivals, by=request.user, on=on, today=request.today)
    return Done(
        at(request, "order", order.number), said_of(delivery), at(request, "delivery-undo", delivery.pk)
    )


def said_of(delivery: Delivery) -> str:
    """Return what a delivery brought, in a sentence or two."""
    rows = list(delivery.lines.select_related("line__part", "line__order", "part", "place"))
    came = [row for row in rows if row.quantity > 0]
    words = []
    if len(came) == 1:
        words.append(f"Booked in {_one(came[0])}.")
    elif came:
        words.append(f"Booked in {len(came)} lines.")
        waiting = sum(1 for row in came if row.place is not None and row.place.kind == Kind.UNSTOWED)
        if waiting:
            who = "All wait" if waiting == len(came) else "1 waits" if waiting == 1 else f"{waiting} wait"
            words.append(f"{who} to be put away.")
    gone = [row.line.what for row in rows if row.wont_come > 0]
    if gone:
        words.append(f"Won't come: {shortly(gone)}. What it bore of the charges is shared anew.")
    return " ".join(words)


def _one(row: DeliveryLine) -> str:
    part = row.part
    unit = "" if row.line.unit == Unit.EACH else f" {row.line.get_unit_display()}"
    words = f"{format_quantity(row.quantity)}{unit} {part.name if part else row.line.what}"
    if row.place is None:
        return words
    return (
        f"{words}; not stowed yet" if row.place.kind == Kind.UNSTOWED else f"{words} into {row.place.plate}"
    )


def _order(request: Any, number: int) -> Order:
    found: Order = seeing.one(
        seeing.orders(request.member).select_related("supplier", "job", "boat"), number=number
    )
    return found


def _same_parcel(order: Order) -> list[Order]:
    """Return the other orders that this supplier still owes: they may lie in the same parcel."""
    found = Order.objects.coming().filter(boat=order.boat, supplier=order.supplier).exclude(pk=order.pk)
    return list(found.select_related("supplier", "boat").order_by("-number")[:12])


def _open_lines(orders: list[Order]) -> list[Line]:
    found = (
        Line.objects.filter(order__in=[order.pk for order in orders if order.state in COMING_STATES])
        .select_related("part", "place", "job", "order")
        .order_by("order__number", "position")
    )
    return [line for line in found if line.open_quantity > 0]


def _read_labels(request: Any, lines: list[Line], orders: list[Order], others: list[Order]) -> HttpResponse:
    data = request.POST.copy()
    reader = BookInForm(request.boat, lines)
    problems = read_labels(reader, data, request.FILES)
    form = BookInForm(request.boat, lines, data)
    form.place_options = reader.place_options
    context = _context(request, form, orders, others)
    context.update(read=len(request.FILES) - len(problems), problems=problems)
    return render(request, "deliveries/book_in.html", context, status=422 if problems else 200)


def _context(request: Any, form: BookInForm, orders: list[Order], others: list[Order]) -> dict[str, Any]:
    shown = {order.pk for order in orders}
    return {
        "form": form,
        "order": orders[0],
        "several": len(orders) > 1,
        "others": [(other, other.pk in shown) for other in others],
        "late": is_late(orders[0], request.today),
    }
