"""Correcting an order after it was placed. Decides what the page says; the rules are in `buying.actions`."""

from collections.abc import Sequence
from typing import Any

from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render

from refit.buying.actions.corrections import correct_order
from refit.buying.actions.orders import add_supplier
from refit.buying.models import COUNTED_STATES, Line, Order
from refit.pages import seeing
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.corrections import CorrectionSheet

MOST_OLD = 60  # lines that a free one may stand in for


def correct(request: Any, number: int) -> HttpResponse:
    """Correct a placed order: its head, its lines, one more, one less."""
    rows = seeing.orders(request.member).select_related("supplier", "boat", "job")
    order: Order = seeing.one(rows.filter(state__in=COUNTED_STATES), number=number)
    lines = list(
        order.lines.select_related("part", "job", "system", "place__area", "order").order_by("position")
    )
    sent = request.POST if request.method == "POST" else None
    sheet = CorrectionSheet(order, lines, _olds(order), sent)
    if sent is not None and sheet.is_valid():
        response = act(request, sheet.head, lambda: _corrected(request, order, sheet))
        if response is not None:
            return response
    context = {"order": order, "sheet": sheet, "form": sheet.head, "back": at(request, "order", number)}
    template = "corrections/correct.html"
    return render(request, template, context) if sent is None else refused_page(request, template, context)


def _corrected(request: Any, order: Order, sheet: CorrectionSheet) -> Done:
    head = sheet.head
    supplier = head.known_supplier or add_supplier(request.boat, head.cleaned_data["supplier"])
    changes = sheet.changes()
    made = correct_order(
        order,
        head.head(supplier),
        changes,
        by=request.user,
        today=request.today,
        why=head.cleaned_data["why"],
        seen=head.seen,
    )
    there = at(request, "order", order.number)
    if not made:
        return Done(there, "Nothing was changed.")
    things = "1 thing" if len(made) == 1 else f"{len(made)} things"
    return Done(there, f"Corrected {things}; what it was stands under What was changed.")


def _olds(order: Order) -> Sequence[Line]:
    """Return the lines that one sent free may stand in for: of this order and of the same supplier's others."""
    near = Q(order=order) | Q(order__supplier=order.supplier_id, order__state__in=COUNTED_STATES)
    named = Line.objects.filter(replaced_by__order=order).values("pk")
    found = Line.objects.filter(near | Q(pk__in=named), boat=order.boat)
    return list(found.select_related("part", "order").order_by("-order__number", "position")[:MOST_OLD])
