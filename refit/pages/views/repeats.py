"""Orders that come again (storage, a berth), and deposits that are lost: each a deed of a person, never made silently."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render

from refit.buying import owing
from refit.buying.actions import deposits
from refit.buying.actions import payments as paying
from refit.buying.models import Delivery, Order, Repeat
from refit.calc.dates import add_months
from refit.calc.money import from_minor
from refit.pages import order_list, payment_list, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.payments import AgainForm, LostForm, RepeatForm


def repeats(request: Any) -> HttpResponse:
    """List the orders that come again, what is due first."""
    found = list(owing.running(request.boat))
    rows = order_list.order_rows([repeat.order for repeat in found], request.today)
    context = {
        "rows": [
            {"repeat": repeat, "what": row.what, "due": repeat.next_on <= request.today}
            for repeat, row in zip(found, rows, strict=True)
        ],
        "due": sum(1 for repeat in found if repeat.next_on <= request.today),
        "tabs": payment_list.tabs(request, "repeats"),
    }
    return render(request, "payments/repeats.html", context)


def set_repeat(request: Any, number: int) -> HttpResponse:
    """Let an order come again every so many months, or change how often."""
    found = _order(request, number)
    repeat = Repeat.objects.filter(order=found, stopped_at=None).first()
    if request.method != "POST":
        form = RepeatForm(request.boat, initial=_initial(found, repeat))
        return render(request, "payments/repeat.html", {"order": found, "form": form, "repeat": repeat})
    form = RepeatForm(request.boat, request.POST)
    if form.is_valid():
        every, next_on = int(form.cleaned_data["every_months"]), form.cleaned_data["next_on"]

        def deed() -> Done:
            paying.repeat_order(found, every_months=every, next_on=next_on)
            said = f"Order {number} comes again on {next_on:%-d %b %Y}; you confirm it each time."
            return Done(at(request, "order", number), said, at(request, "repeat-stop", number))

        response = act(request, form, deed)
        if response is not None:
            return response
    context = {"order": found, "form": form, "repeat": repeat}
    return refused_page(request, "payments/repeat.html", context)


def stop(request: Any, number: int) -> HttpResponse:
    """Stop an order from coming again."""
    repeat = _repeat(request, number)

    def deed() -> Done:
        paying.stop_repeat(repeat)
        said = f"Order {number} no longer comes again."
        return Done(at(request, "order", number), said, at(request, "repeat-go-on", number))

    return press(request, deed, at(request, "order", number))


def go_on(request: Any, number: int) -> HttpResponse:
    """Let it come again after all (undo of stopping)."""
    found = _order(request, number)
    repeat = seeing.one(Repeat.objects.filter(boat=request.boat), order=found)

    def deed() -> Done:
        paying.repeat_order(found, every_months=repeat.every_months, next_on=repeat.next_on)
        said = f"Order {number} comes again on {repeat.next_on:%-d %b %Y}."
        return Done(at(request, "order", number), said, at(request, "repeat-stop", number))

    return press(request, deed, at(request, "order", number))


def again(request: Any, number: int) -> HttpResponse:
    """Confirm an order that is due again, at the same price or another."""
    repeat = _repeat(request, number)
    lines = list(repeat.order.lines.select_related("part", "order").order_by("position"))
    context = {"repeat": repeat, "order": repeat.order, "lines": lines, "one": len(lines) == 1}
    if request.method != "POST":
        return render(request, "payments/again.html", context | {"form": AgainForm(request.boat)})
    form = AgainForm(request.boat, request.POST)
    if form.is_valid():

        def deed() -> Done:
            price = form.cleaned_data["price"]
            made = paying.confirm_repeat(repeat, by=request.user, today=request.today, price=price)
            amount = f"{from_minor(made.landed, request.boat.currency):,f} {request.boat.currency}"
            said = f"Order {made.number} is made for {made.ordered_on:%-d %b %Y}: {amount}."
            return Done(
                at(request, "order", made.number), said, at(request, "not-again", number, made.number)
            )

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "payments/again.html", context | {"form": form})


def not_again(request: Any, number: int, made: int) -> HttpResponse:
    """Take back an order that came again (undo): it is due as before."""
    before, after = _order(request, number), _order(request, made)

    def deed() -> Done:
        paying.unconfirm_repeat(after, before)
        return Done(at(request, "repeats"), f"Order {made} was not made; it is due again.")

    return press(request, deed, at(request, "order", made))


def lost(request: Any, number: int) -> HttpResponse:
    """Say that a deposit is lost: what has not come is given up, and what was paid stays as a cost."""
    found = _order(request, number)
    stake = deposits.deposit_at_stake(found)
    context = {"order": found, "stake": stake}
    if request.method != "POST":
        form = LostForm(request.boat, initial={"on": request.today})
        return render(request, "payments/lost.html", context | {"form": form})
    form = LostForm(request.boat, request.POST)
    if form.is_valid():

        def deed() -> Done:
            on = form.cleaned_data["on"]
            delivery = deposits.lose_deposit(found, on=on, today=request.today, by=request.user)
            said = f"The deposit on order {number} is lost; it stands as a cost."
            return Done(at(request, "order", number), said, at(request, "deposit-found", number, delivery.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "payments/lost.html", context | {"form": form})


def deposit_found(request: Any, number: int, delivery: int) -> HttpResponse:
    """Take a lost deposit back (undo)."""
    found = _order(request, number)
    rows = Delivery.objects.filter(boat=request.boat, lines__line__order=found).distinct()
    gone = seeing.one(rows.select_related("boat"), pk=delivery)

    def deed() -> Done:
        deposits.find_deposit(gone, by=request.user, today=request.today)
        return Done(at(request, "order", number), f"The deposit on order {number} is not lost.")

    return press(request, deed, at(request, "order", number))


def _order(request: Any, number: int) -> Order:
    found: Order = seeing.one(
        seeing.orders(request.member).select_related("supplier", "boat", "job"), number=number
    )
    return found


def _repeat(request: Any, number: int) -> Repeat:
    found = owing.running(request.boat).filter(order=_order(request, number)).select_related("boat").first()
    if found is None:
        raise Http404("Not found.")
    return found


def _initial(order: Order, repeat: Repeat | None) -> dict[str, Any]:
    if repeat is not None:
        return {"every_months": str(repeat.every_months), "next_on": repeat.next_on}
    return {"every_months": "1", "next_on": add_months(order.ordered_on, 1) if order.ordered_on else None}
