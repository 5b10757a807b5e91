"""What to order by when: the list by urgency or by supplier, and orders made of what is ticked."""

import re
from dataclasses import replace
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import render

from refit.buying.actions import shopping
from refit.buying.models import Order
from refit.buying.to_buy import to_buy
from refit.pages import buy_list, buy_tabs, lists, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.buy import MakeForm
from refit.reports.tables import TableExport

NUMBERS = re.compile(r"[0-9]{1,9}(-[0-9]{1,9}){0,40}")


def buy(request: Any) -> HttpResponse:
    """List what to order, by when and from whom; or hand the list over as a file."""
    found = to_buy(request.boat, request.today)
    sieve = buy_list.BuySieve(request.boat, request.GET)
    rows = sieve.narrow(found.rows, request.today)
    if request.GET.get("export") in ("xlsx", "csv"):
        table = TableExport("To order", buy_list.COLUMNS, buy_list.file_rows(found, rows))
        return lists.file_of(request, table, request.GET["export"])
    form = MakeForm(request.boat)
    return render(request, "buy/buy.html", _context(request, found, sieve, rows, form))


def make(request: Any) -> HttpResponse:
    """Make orders, not placed yet, of what was ticked."""
    form = MakeForm(request.boat, request.POST)
    if form.is_valid():

        def deed() -> Done:
            ticks = form.ticks(request.POST)
            made = shopping.order_ticked(request.boat, ticks, by=request.user, today=request.today)
            numbers = "-".join(str(order.number) for order in made)
            undo = at(request, "buy-away", numbers) if len(made) <= 40 else ""
            go = at(request, "order", made[0].number) if len(made) == 1 else at(request, "buy")
            return Done(go, _said(made), undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    found = to_buy(request.boat, request.today)
    sieve = buy_list.BuySieve(request.boat, request.GET)
    rows = sieve.narrow(found.rows, request.today)
    return refused_page(request, "buy/buy.html", _context(request, found, sieve, rows, form))


def throw_away(request: Any, orders: str) -> HttpResponse:
    """Throw away the orders that were just made (undo)."""
    if not NUMBERS.fullmatch(orders):
        raise Http404("Not found.")
    asked = {int(number) for number in orders.split("-")}
    found = list(seeing.orders(request.member).filter(number__in=asked).select_related("boat"))
    if len(found) != len(asked):
        raise Http404("Not found.")

    def deed() -> Done:
        shopping.throw_drafts_away(request.boat, found)
        return Done(at(request, "buy"), f"Threw away {_numbered(found)}; it is all to order again.")

    return press(request, deed, at(request, "buy"))


def _context(
    request: Any, found: Any, sieve: buy_list.BuySieve, rows: list[Any], form: MakeForm
) -> dict[str, Any]:
    by_supplier = request.GET.get("by") == "supplier"
    ordered = [row for _, some in found.by_supplier(rows) for row in some] if by_supplier else rows
    page = Paginator(ordered, lists.A_PAGE).get_page(request.GET.get("page"))
    shown = {row.key for row in page.object_list}
    groups = buy_list.groups_of(found, ordered, by_supplier=by_supplier, tick=request.GET.get("tick", ""))
    for group in groups:
        group.rows = [_as_sent(request, row) for row in group.rows if row.row.key in shown]
    counts = buy_list.counts_of(found.rows)
    return {
        "groups": [
            (group, buy_list.filling_words(group.filling, request.boat) if group.filling else "")
            for group in groups
            if group.rows
        ],
        "filter": buy_list.Sieve(sieve),
        "page": page,
        "counts": counts,
        "any": bool(found.rows),
        "by_supplier": by_supplier,
        "drafts": found.drafts,
        "contradiction": found.netted.contradiction,
        "form": form,
        "nameless": any(row.best is None for row in page.object_list),
        "tabs": buy_tabs.tabs(request, "buy"),
        "any_ticked": any(row.ticked for group in groups for row in group.rows),
    }


def _as_sent(request: Any, row: buy_list.Row) -> buy_list.Row:
    """Return a row ticked and chosen as on the form that comes back."""
    if request.method != "POST":
        return row
    ticked = row.row.key in request.POST.getlist("row")
    return replace(row, ticked=ticked, chosen=request.POST.get(f"from-{row.row.key}", ""))


def _said(made: list[Order]) -> str:
    first = made[0]
    lines = sum(order.lines.count() for order in made)
    words = f"Made {_numbered(made)}: {lines} line{'' if lines == 1 else 's'}, not ordered yet."
    if any(order.lines.filter(unit_price=0).exists() for order in made):
        words += " Some have no price yet."
    return words if len(made) > 1 else words.replace(":", f" for {first.supplier}:", 1)


def _numbered(orders: list[Order]) -> str:
    numbers = [str(order.number) for order in sorted(orders, key=lambda order: order.number)]
    return f"order{'' if len(numbers) == 1 else 's'} {', '.join(numbers)}"
