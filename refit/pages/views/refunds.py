"""Money back and goods back: what is owed to us, a refund, goods that go back, are sent, or stay after all.

Decides what is shown and where each button leads; what may come back is decided in `buying.actions.refunds`.
"""

from decimal import Decimal
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render

from refit.buying.actions import refunds as acts
from refit.buying.models import COUNTED_STATES, Credit, CreditKind, Line, Order, Return
from refit.calc.money import from_minor
from refit.pages import lists, order_back, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.refunds import CAME, CameForm, GoingBackForm, RefundForm, SentForm
from refit.reports.tables import TableExport
from refit.reports.workbook import Column, Kind

COLUMNS = (
    Column("What"),
    Column("State"),
    Column("Owed by"),
    Column("Order", Kind.NUMBER),
    Column("Since", Kind.DATE),
    Column("Days", Kind.NUMBER),
    Column("Amount", Kind.MONEY),
)
SORTS = {
    "since": lambda row: row.since,
    "what": lambda row: row.what.casefold(),
    "who": lambda row: row.who.casefold(),
    "order": lambda row: row.order.number,
    "amount": lambda row: row.amount,
}


def money_back(request: Any) -> HttpResponse:
    """List what is owed to us: refunds applied for and not come, goods back and no money yet."""
    rows = order_back.owed(request.boat, request.today)
    asked = request.GET.get("sort", "")
    key = SORTS.get(asked.removeprefix("-"), SORTS["since"])
    rows.sort(key=key, reverse=asked.startswith("-"))
    if request.GET.get("export") in ("xlsx", "csv"):
        return lists.file_of(
            request,
            TableExport("Money back", COLUMNS, [_file_row(row) for row in rows]),
            request.GET["export"],
        )
    page = Paginator(rows, lists.A_PAGE).get_page(request.GET.get("page"))
    total = sum(row.amount for row in rows)
    return render(request, "refunds/money_back.html", {"page": page, "rows": list(page), "total": total})


def add(request: Any, number: int) -> HttpResponse:
    """Write down money back on an order: come, or applied for."""
    order = _order(request, number)
    lines = list(order.lines.filter(counted=True).select_related("part").order_by("position"))
    form = RefundForm(request.boat, order, lines, _sent(request), initial=_start(request, order, lines))
    if form.is_bound and form.is_valid():

        def deed() -> Done:
            made = acts.add_refund(order, form.lines, form.refund(), by=request.user, today=request.today)
            words = f"{from_minor(made.home, request.boat.currency):,f} {request.boat.currency}"
            said = (
                f"{words} came back." if form.has_come else f"{words} applied for; it is cost until it comes."
            )
            return Done(_page(request, number), said, at(request, "refund-take-back", made.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    ticked = form.ticked
    context = {
        "order": order,
        "lines": [(line, str(line.pk) in ticked) for line in lines],
        "left": max(acts.left_to_refund(order), 0),
    }
    return _form(request, "refunds/add.html", form, context)


def came(request: Any, pk: int) -> HttpResponse:
    """Say that money that was applied for has come, and how much of it."""
    credit = _credit(request, pk)
    hoped = f"{from_minor(credit.home, request.boat.currency):f}"
    form = CameForm(request.boat, _sent(request), initial={"came_on": request.today, "came": hoped})
    if form.is_bound and form.is_valid():
        got = form.cleaned_data

        def deed() -> Done:
            acts.refund_came(credit, came_on=got["came_on"], came=got["came"], today=request.today)
            said = f"{got['came']:,f} {request.boat.currency} came back."
            return Done(_page(request, credit.order.number), said, at(request, "refund-not-come", pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return _form(request, "refunds/came.html", form, {"credit": credit, "order": credit.order})


def not_come(request: Any, pk: int) -> HttpResponse:
    """Hope for it again: the money has not come after all."""
    credit = _credit(request, pk)

    def deed() -> Done:
        acts.refund_did_not_come(credit)
        return Done(_page(request, credit.order.number), "Applied for again; it is cost until it comes.")

    return press(request, deed, _page(request, credit.order.number))


def take_back(request: Any, pk: int) -> HttpResponse:
    """Take a refund back: it was entered by mistake, or was refused."""
    credit = _credit(request, pk)

    def deed() -> Done:
        acts.take_back_refund(credit)
        return Done(_page(request, credit.order.number), "Took the refund back: the cost stands again.")

    return press(request, deed, _page(request, credit.order.number))


def going_back(request: Any, number: int) -> HttpResponse:
    """Say what goes back: it lies aside, not usable, until it is sent."""
    order = _order(request, number)
    rows = order_back.goers(order)
    form = GoingBackForm(request.boat, rows, _sent(request))
    if form.is_bound and rows and form.is_valid():

        def deed() -> Done:
            back = acts.say_going_back(
                order, form.items, by=request.user, on=request.today, why=form.cleaned_data["why"]
            )
            said = "Going back. It lies where it lies, not usable, until it is sent."
            return Done(_page(request, number), said, at(request, "return-keep", back.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return _form(request, "refunds/going_back.html", form, {"order": order})


def sent(request: Any, pk: int) -> HttpResponse:
    """Say that the goods were sent: they leave the stores."""
    back = _return(request, pk)
    form = SentForm(request.boat, _sent(request), initial={"sent_on": request.today})
    if form.is_bound and form.is_valid():
        got = form.cleaned_data

        def deed() -> Done:
            acts.send_back(
                back, by=request.user, on=got["sent_on"], today=request.today, reference=got["reference"]
            )
            said = f"Sent back on {got['sent_on']:%-d %b %Y}: out of the stores."
            return Done(_page(request, back.order.number), said, at(request, "return-not-sent", pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    row = order_back.returns_of(Return.objects.filter(pk=back.pk))[0]
    return _form(request, "refunds/sent.html", form, {"row": row, "order": back.order})


def not_sent(request: Any, pk: int) -> HttpResponse:
    """Say that the goods were not sent after all: they lie aside again."""
    back = _return(request, pk)

    def deed() -> Done:
        acts.not_sent(back, by=request.user, today=request.today)
        return Done(_page(request, back.order.number), "Not sent: it lies aside again, going back.")

    return press(request, deed, _page(request, back.order.number))


def keep(request: Any, pk: int) -> HttpResponse:
    """Say that the goods stay."""
    back = _return(request, pk)

    def deed() -> Done:
        acts.keep_after_all(back)
        return Done(_page(request, back.order.number), "Kept: it may be used again.")

    return press(request, deed, _page(request, back.order.number))


def _start(request: Any, order: Order, lines: list[Line]) -> dict[str, Any]:
    """Return what the form begins with: the lines of `?back=`, goods that went back, else all lines."""
    start = {
        "currency": order.currency,
        "state": CAME,
        "came_on": request.today,
        "kind": CreditKind.PRICE,
        "line": [str(line.pk) for line in lines],
    }
    asked = request.GET.get("back", "")
    if asked.isascii() and asked.isdecimal() and len(asked) < 19:
        gone = order.returns.filter(pk=int(asked)).values_list("lines__line_id", flat=True)
        if gone:
            start |= {"kind": CreditKind.GOODS, "line": [str(pk) for pk in gone]}
    return start


def _order(request: Any, number: int) -> Order:
    rows = seeing.orders(request.member).select_related("supplier", "boat")
    found: Order = seeing.one(rows.filter(state__in=COUNTED_STATES), number=number)
    return found


def _credit(request: Any, pk: int) -> Credit:
    rows = Credit.objects.filter(boat=request.boat).select_related("boat", "order__supplier")
    found: Credit = seeing.one(rows, pk=pk)
    return found


def _return(request: Any, pk: int) -> Return:
    rows = Return.objects.filter(boat=request.boat).select_related("boat", "order__supplier")
    found: Return = seeing.one(rows, pk=pk)
    return found


def _page(request: Any, number: int) -> str:
    return at(request, "order", number)


def _sent(request: Any) -> Any:
    return request.POST if request.method == "POST" else None


def _form(request: Any, template: str, form: Any, context: dict[str, Any]) -> HttpResponse:
    context = {"form": form, "back": _page(request, context["order"].number), **context}
    return refused_page(request, template, context) if form.is_bound else render(request, template, context)


def _file_row(row: order_back.Owed) -> list[Any]:
    order = Decimal(row.order.number)
    return [row.what, row.state, row.who, order, row.since, Decimal(row.days), row.amount]
