"""Asking after orders: whom to ask today, what they promised, last days to send back or claim, money owed to us."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render

from refit.buying import chasing
from refit.buying.actions import chasing as acts
from refit.buying.actions.chasing import OrderDates
from refit.buying.models import Order, Promise
from refit.pages import buy_tabs, lists, order_back, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.chase import DatesForm, PromiseForm
from refit.reports.tables import TableExport
from refit.reports.workbook import Column, Kind

COLUMNS = (
    Column("Order", Kind.NUMBER),
    Column("Supplier"),
    Column("Why"),
    Column("What"),
    Column("Expected", Kind.DATE),
    Column("Days late", Kind.NUMBER),
    Column("Who said so"),
    Column("Ask again", Kind.DATE),
)


def chase(request: Any) -> HttpResponse:
    """List the orders to ask after, what may still go back, and what is owed to us."""
    now, later = chasing.to_chase(request.boat, request.today)
    if request.GET.get("export") in ("xlsx", "csv"):
        table = TableExport("To chase", COLUMNS, [_file_row(row) for row in [*now, *later]])
        return lists.file_of(request, table, request.GET["export"])
    return render(request, "buy/chase.html", _context(request, now, later))


def promise(request: Any, number: int) -> HttpResponse:
    """Write down what they say of an order; the page it was typed on comes back."""
    order = _order(request, number)
    form = PromiseForm(request.boat, request.POST)
    back = _back(request, order)
    if form.is_valid():
        before = {"chase": order.chase_on.isoformat()} if order.chase_on else {}
        data = {
            name: value for name, value in form.cleaned_data.items() if name not in ("unknown", "form_key")
        }

        def deed() -> Done:
            made = acts.promise(order, by=request.user, today=request.today, **data)
            undo = f"{at(request, 'promise-back', number, made.pk)}?{urlencode(before | _from(request))}"
            who = f" ({made.who})" if made.who else ""
            if made.day is None:
                return Done(back, f"Order {number}: they don’t know{who}.", undo)
            return Done(back, f"Order {number} is promised for {made.day:%-d %b %Y}{who}.", undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "buy/chase_one.html", _one(request, order) | {"form": form})


def promise_back(request: Any, number: int, pk: int) -> HttpResponse:
    """Take a promise back; the one before counts again."""
    order = _order(request, number)
    made = seeing.one(Promise.objects.filter(order=order).select_related("boat"), pk=pk)
    form = DatesForm(request.boat, {"chase_on": request.GET.get("chase", "")})
    before = form.cleaned_data["chase_on"] if form.is_valid() else None
    back = _back(request, order)

    def deed() -> Done:
        acts.take_back_promise(made, chase_on=before)
        return Done(back, f"Order {number}: that promise is taken back.")

    return press(request, deed, back)


def dates(request: Any, number: int) -> HttpResponse:
    """Set when to ask after an order, and its last days."""
    order = _order(request, number)
    form = DatesForm(request.boat, request.POST if "chase_on" in request.POST else request.GET)
    if form.is_valid():
        names = OrderDates.__dataclass_fields__
        before = {name: getattr(order, name) for name in names}

        def deed() -> Done:
            acts.mind_order(order, form.facts(), today=request.today)
            kept = {name: day.isoformat() for name, day in before.items() if day}
            undo = f"{at(request, 'order-dates', number)}?{urlencode(kept)}"
            return Done(at(request, "order", number), f"Order {number}: days kept.", undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "buy/chase_one.html", _one(request, order) | {"dates_form": form})


def one(request: Any, number: int) -> HttpResponse:
    """Show one order's promises and the form for the next."""
    return render(request, "buy/chase_one.html", _one(request, _order(request, number)))


def block_of(request: Any, order: Order) -> dict[str, Any]:
    """Return what the page of an order shows of promises and last days."""
    initial = {name: getattr(order, name) for name in OrderDates.__dataclass_fields__}
    return {
        "promises": chasing.promises_of(order),
        "last_days": chasing.last_days_of(order, request.today),
        "promise_form": _promise_form(request),
        "dates_form": DatesForm(request.boat, initial=initial),
        "coming": order.state in ("ordered", "part"),
        "placed": order.state not in ("draft", "cancelled"),
    }


def _context(request: Any, now: list[Any], later: list[Any]) -> dict[str, Any]:
    owed = order_back.owed(request.boat, request.today)
    last_days = [(row, row.left(request.today)) for row in chasing.last_days(request.boat, request.today)]
    return {
        "now": [(row, _promise_form(request)) for row in now],
        "later": later,
        "late": sum(1 for row in now if row.late_days),
        "last_days": last_days,
        "more_days": sum(1 for _, left in last_days if left > 7),
        "owed": owed,
        "owed_sum": sum(row.amount for row in owed),
        "tabs": buy_tabs.tabs(request, "chase"),
    }


def _one(request: Any, order: Order) -> dict[str, Any]:
    block = block_of(request, order)
    return {"order": order, **block, "form": block["promise_form"]}


def _promise_form(request: Any) -> PromiseForm:
    form = PromiseForm(request.boat, initial={"said_on": request.today})
    form.auto_id = (
        f"id_{form.fields['form_key'].initial}_%s"  # many forms on one page, each with ids of its own
    )
    return form


def _order(request: Any, number: int) -> Order:
    rows = seeing.orders(request.member).select_related("supplier", "boat", "job")
    found: Order = seeing.one(rows, number=number)
    return found


def _from(request: Any) -> dict[str, str]:
    return {"from": "order"} if request.GET.get("from") == "order" else {}


def _back(request: Any, order: Order) -> str:
    if request.GET.get("from") == "order":
        return at(request, "order", order.number)
    return at(request, "chase")


def _file_row(row: Any) -> list[Any]:
    order = row.order
    newest = row.promises[0].who if row.promises else ""
    return [
        order.number,
        order.supplier.name,
        row.why.value,
        "; ".join(row.what),
        order.expected_on,
        row.late_days or None,
        newest,
        order.chase_on,
    ]
