"""The town run: what to bring by shop; one tap says that it is bought and here; a shop's list; the sheet to print."""

import re
from decimal import Decimal
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render

from refit.boat.identity import identity
from refit.boat.models import System
from refit.boat.refusals import Refused
from refit.buying.actions import town as acts
from refit.buying.models import Delivery, Line, Supplier
from refit.buying.town import bought_today, town_rows
from refit.calc.numbers import format_quantity
from refit.pages import buy_tabs, seeing, town_sheet
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.buy import TownForm
from refit.reports.town_sheet import town_pdf

LINES = re.compile(r"[0-9]{1,18}(-[0-9]{1,18}){0,20}")


def town(request: Any) -> HttpResponse:
    """Show what to bring, shop by shop."""
    return render(request, "buy/town.html", _context(request, TownForm(request.boat)))


def pdf(request: Any) -> HttpResponse:
    """Print the town run."""
    shops = town_sheet.paper_of(town_rows(request.boat, request.today), request.boat.currency)
    sheet = town_pdf(shops, identity=identity(request.boat), as_at=request.today)
    response = HttpResponse(sheet, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{request.boat.slug}-town-run.pdf"'
    return response


def bought(request: Any) -> HttpResponse:
    """Say that something is bought and here."""
    form = TownForm(request.boat, request.POST)
    if form.is_valid():
        key, line = form.cleaned_data["item"]
        shop = form.cleaned_data["shop"]

        def deed() -> Done:
            if line is not None and line.order.supplier_id != shop.pk:
                raise Refused("That is on another shop's list.", code="other_shop", field="shop")
            made = acts.buy_in_town(
                request.boat,
                shop,
                key=key,
                line=line,
                bought=form.bought(),
                by=request.user,
                today=request.today,
            )
            undo = at(request, "town-back", made.pk) + ("?list=1" if line is not None else "")
            return Done(at(request, "town"), _said(made, shop), undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "buy/town.html", _context(request, form))


def bring_back(request: Any, delivery: int) -> HttpResponse:
    """Take back what was bought by mistake; it is to be bought again."""
    found = seeing.one(Delivery.objects.filter(boat=request.boat).select_related("boat"), pk=delivery)
    back = at(request, "town")

    def deed() -> Done:
        on_list = "list" in request.GET
        acts.bring_back(found, by=request.user, today=request.today, on_list=on_list)
        return Done(back, "Taken back: it is to be bought again.")

    return press(request, deed, back)


def put_on_list(request: Any) -> HttpResponse:
    """Put something on a shop's list."""
    form = TownForm(request.boat, request.POST)
    if form.is_valid():
        key, line = form.cleaned_data["item"]
        shop, system = form.cleaned_data["shop"], form.cleaned_data["system"]

        def deed() -> Done:
            if line is not None:
                raise Refused(f"That is on the list of {line.order.supplier} already.", code="on_list")
            made = acts.put_on_list(
                request.boat, shop, key, by=request.user, today=request.today, system=system
            )
            undo = at(request, "town-off", "-".join(str(each.pk) for each in made)) if len(made) <= 20 else ""
            return Done(at(request, "town"), f"{made[0].what} is on the list of {shop}.", undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "buy/town.html", _context(request, form))


def take_off_list(request: Any, lines: str) -> HttpResponse:
    """Take things off a shop's list (undo)."""
    if not LINES.fullmatch(lines):
        raise Http404("Not found.")
    asked = {int(number) for number in lines.split("-")}
    rows = Line.objects.filter(boat=request.boat, pk__in=asked).select_related("boat", "part", "order")
    found = list(rows)
    if len(found) != len(asked):
        raise Http404("Not found.")

    def deed() -> Done:
        acts.take_off_list(request.boat, found)
        return Done(at(request, "town"), f"{found[0].what} is off the list.")

    return press(request, deed, at(request, "town"))


def _context(request: Any, form: TownForm) -> dict[str, Any]:
    shops = town_rows(request.boat, request.today)
    return {
        "groups": town_sheet.groups_of(shops, request.boat.currency),
        "count": sum(len(each.items) for each in shops),
        "bought": bought_today(request.boat, request.today),
        "form": form,
        "shops": sorted(
            Supplier.objects.filter(boat=request.boat), key=lambda row: (not row.is_shop, row.folded)
        ),
        "systems": System.objects.filter(boat=request.boat, retired_at=None).order_by("group", "name"),
        "tabs": buy_tabs.tabs(request, "town"),
    }


def _said(made: Delivery, shop: Any) -> str:
    rows = list(made.lines.select_related("line__part", "line__order", "place"))
    first = rows[0]
    many = format_quantity(sum((row.quantity for row in rows), Decimal(0)))
    place = f", into {first.place.plate}" if first.place and first.place.mark else ""
    if first.place is not None and not first.place.mark:
        place = f"; {first.place.name}"
    return f"Bought at {shop}: {many} × {first.line.what}{place} (order {first.line.order.number})."
