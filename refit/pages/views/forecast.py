"""Where the money ends: the forecast against the budgets, why it moved since a day, and cost over time."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from csp.decorators import csp_update
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.actions.boats import set_contingency
from refit.boat.models import Contingency
from refit.buying import spend as money_spent
from refit.buying.moved import Item, Moved, moved
from refit.calc.money import from_minor
from refit.carry import ending as ends
from refit.carry.ending import Month
from refit.carry.spend import NO_SYSTEM
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.forecast import ContingencyForm, SinceForm
from refit.reports.plot import DARK, LIGHT, NARROW, WIDE, Curve, curves

MOST = 100  # things still to come that are shown one by one


def forecast(request: Any) -> HttpResponse:
    """Show what each system ends near, and what is still to come."""
    return render(request, "forecast/forecast.html", _page(request, _blank(request)))


def contingency(request: Any) -> HttpResponse:
    """Set what is kept back from a day on; what was kept back before stays to be read."""
    form = ContingencyForm(request.boat, request.POST if "amount" in request.POST else request.GET)

    def deed() -> Done:
        given = form.cleaned_data
        before = ends.book_of(request.boat).contingency(given["on"])
        amount, on = given["amount"], given["on"]
        set_contingency(request.boat, amount, on=on, by=request.user, note=given["note"])
        sent = {
            "amount": from_minor(before or 0, request.boat.currency),
            "on": on.isoformat(),
            "note": "back to what it was",
        }
        undo = f"{at(request, 'contingency')}?{urlencode(sent)}"
        return Done(go=at(request, "forecast"), said="What is kept back is set.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "forecast/forecast.html", _page(request, form))


def _blank(request: Any) -> ContingencyForm:
    return ContingencyForm(request.boat, initial={"on": request.today})


def _page(request: Any, form: ContingencyForm) -> dict[str, Any]:
    found = ends.ending(request.boat, request.today)
    over = found.whole.over
    return {
        "ending": found,
        "form": form,
        "things": found.things[:MOST],
        "more": len(found.things) - MOST,
        "rest": sum(thing.amount or 0 for thing in found.things[MOST:]),
        "left_of_contingency": (found.contingency or 0) - over,
        "beyond": max(over - (found.contingency or 0), 0),
        "history": list(
            Contingency.objects.filter(boat=request.boat)
            .select_related("entered_by")
            .order_by("-set_on", "-id")[:20]
        ),
    }


@dataclass(frozen=True)
class Change:
    """One system: how it stood, how it stands, and why."""

    name: str
    then: int
    now: int
    items: list[Item]

    @property
    def difference(self) -> int:
        return self.now - self.then


def why(request: Any) -> HttpResponse:
    """Show why the forecast moved since a day (the day itself counts)."""
    start = SinceForm.usual(request.today)
    form = SinceForm(request.today, request.GET if "since" in request.GET else {"since": start.isoformat()})
    if not form.is_valid():
        return refused_page(request, "forecast/why.html", {"form": form})
    since = form.cleaned_data["since"]
    found = moved(ends.book_of(request.boat), since - timedelta(days=1), request.today)
    names = {system.pk: system.name for system in money_spent.systems(request.boat)}
    context = {
        "form": form,
        "since": since,
        "then": sum(found.then.values()),
        "now": sum(found.now.values()),
        "difference": found.difference,
        "changes": _changes(found, names),
        "budgets": [(names[row.system], row) for row in found.budgets],
        "budget_difference": sum(row.amount for row in found.budgets),
        "contingency": found.contingency if found.contingency[0] != found.contingency[1] else None,
    }
    return render(request, "forecast/why.html", context)


def _changes(found: Moved, names: dict[int, str]) -> list[Change]:
    changes = []
    for system in [*names, None]:
        items = [item for item in found.items if item.system == system]
        then, now = found.then.get(system, 0), found.now.get(system, 0)
        if items:
            name = names[system] if system else NO_SYSTEM.capitalize()
            changes.append(Change(name, then, now, items))
    return sorted(changes, key=lambda change: -abs(change.difference))


def over_time(request: Any) -> HttpResponse:
    """Show cost over time: the drawing, and the table that says the same."""
    months = ends.over_time(request.boat, request.today)
    return render(request, "forecast/over_time.html", {"months": list(reversed(months))})


@csp_update({"style-src": ["'unsafe-inline'"]})  # type: ignore[arg-type]  # the drawing's own, looked at by itself
def time_svg(request: Any) -> HttpResponse:
    """Send the drawing of cost over time: `?on=dark` for a dark ground, `?size=narrow` for a phone."""
    months = ends.over_time(request.boat, request.today)
    ground = DARK if request.GET.get("on") == "dark" else LIGHT
    size = NARROW if request.GET.get("size") == "narrow" else WIDE
    names = [f"{month.end:%b %Y}" for month in months]
    drawing = curves(names, _curves(months), request.boat.currency, ground, size)
    return HttpResponse(drawing, content_type="image/svg+xml")


def _curves(months: list[Month]) -> list[Curve]:
    return [
        Curve("Ordered", [month.ordered for month in months]),
        Curve("Arrived", [month.arrived for month in months], "10,5"),
        Curve("Paid", [month.paid for month in months], "2,5"),
        Curve("Ends near", [month.forecast for month in months], "16,5,2,5"),
        Curve("Budget", [month.budget for month in months], "24,8"),
    ]
