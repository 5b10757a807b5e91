"""The prices of a part side by side; adding, changing and ending what a supplier asks."""

from decimal import Decimal
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.rights import Right
from refit.buying.actions import offers as acts
from refit.buying.models import Offer
from refit.buying.prices import read_prices
from refit.calc.numbers import parse_number
from refit.calc.problems import Problem
from refit.pages import part_prices, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.terms import OfferForm, offer_again, offer_typed
from refit.stores.models import Part

MOST = Decimal("999999.999")


def prices(request: Any, pk: int) -> HttpResponse:
    """Show what a part costs from whom, for so many (`?many=`); write down one more price."""
    part = _part(request, pk)
    if request.method != "POST":
        return render(request, "offers/prices.html", page_of(request, part))
    if Right.BUY not in request.rights:
        raise PermissionDenied
    form = OfferForm(request.boat, request.today, request.POST)
    if form.is_valid():

        def deed() -> Done:
            made = acts.add_offer(part, form.facts(), today=request.today)
            said = f"{made.supplier} asks {made.price.normalize():f} {made.currency} for {part}."
            return Done(at(request, "part", pk) + "#prices", said, at(request, "offer-end", pk, made.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "offers/prices.html", page_of(request, part) | {"offer_form": form})


def change(request: Any, pk: int, offer: int) -> HttpResponse:
    """Put a price right. The undo carries what it was in its address."""
    part, found = _offer(request, pk, offer)
    context = {"part": part, "offer": found}
    if request.method != "POST":
        form = OfferForm(request.boat, request.today, initial=offer_typed(found))
        return render(request, "offers/change.html", context | {"form": form})
    form = OfferForm(request.boat, request.today, request.POST if "price" in request.POST else request.GET)
    if form.is_valid():
        undo = f"{at(request, 'offer', pk, offer)}?{offer_again(found)}"

        def deed() -> Done:
            changed = acts.change_offer(found, form.facts(), today=request.today)
            said = f"{changed.supplier} asks {changed.price.normalize():f} {changed.currency} for {part}."
            return Done(at(request, "part", pk) + "#prices", said, undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "offers/change.html", context | {"form": form})


def end(request: Any, pk: int, offer: int) -> HttpResponse:
    """Say that they no longer sell it at this price."""
    part, found = _offer(request, pk, offer)
    back = at(request, "part", pk) + "#prices"

    def deed() -> Done:
        acts.end_offer(found)
        return Done(
            back, f"The price of {found.supplier} for {part} has ended.", at(request, "offer-open", pk, offer)
        )

    return press(request, deed, back)


def reopen(request: Any, pk: int, offer: int) -> HttpResponse:
    """Say that the price holds after all (undo)."""
    part, found = _offer(request, pk, offer)
    back = at(request, "part", pk) + "#prices"

    def deed() -> Done:
        acts.reopen_offer(found)
        return Done(
            back, f"The price of {found.supplier} for {part} holds.", at(request, "offer-end", pk, offer)
        )

    return press(request, deed, back)


def page_of(request: Any, part: Part) -> dict[str, Any]:
    """Return what is shown of the prices of a part, on its own page too."""
    found = read_prices(request.boat, request.today, [part.pk])
    return {
        "part": part,
        "prices": part_prices.block_of(found, part, _many(request, part)),
        "offer_form": OfferForm(request.boat, request.today, initial={"seen_on": request.today}),
    }


def _many(request: Any, part: Part) -> Decimal:
    """Return for how many prices are compared: as asked, else one (or one set)."""
    try:
        return parse_number(request.GET.get("many", ""), places=3, low=Decimal("0.001"), high=MOST)
    except Problem:
        return Decimal(part.sets_of)


def _part(request: Any, pk: int) -> Part:
    found: Part = seeing.one(seeing.parts(request.member), pk=pk)
    return found


def _offer(request: Any, pk: int, offer: int) -> tuple[Part, Offer]:
    part = _part(request, pk)
    rows = Offer.objects.filter(boat=request.boat, part=part).select_related("supplier", "boat", "part")
    return part, seeing.one(rows, pk=offer)
