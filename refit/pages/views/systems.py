"""The systems of the boat and what each may cost."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.actions.boats import add_systems, change_system, set_budget
from refit.boat.models import Budget, System
from refit.boat.refusals import Refused
from refit.buying.models import Line
from refit.buying.spend import budgets
from refit.calc.money import from_minor
from refit.pages import seeing
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.systems import BudgetForm, SystemForm, UsualForm
from refit.work.models import OPEN_STATES


@dataclass(frozen=True)
class Row:
    """A system with its budget and what is counted under it."""

    system: System
    budget: int | None
    open_jobs: int
    lines: int


def systems(request: Any) -> HttpResponse:
    """Show the systems by group; add usual ones, or one of one's own."""
    usual, own = UsualForm(request.boat, auto_id="usual_%s"), SystemForm(request.boat, auto_id="own_%s")
    if request.method == "GET":
        return render(request, "systems/list.html", _list(request, usual, own))
    form: Any
    if "name" in request.POST:
        form = own = SystemForm(request.boat, request.POST, auto_id="own_%s")
    else:
        form = usual = UsualForm(request.boat, request.POST, auto_id="usual_%s")

    def deed() -> Done:
        made = add_systems(request.boat, [own.row()] if form is own else usual.chosen())
        if not made:
            raise Refused("There is a system of that name already.", code="taken", field="name")
        said = f"Added {made[0]}." if len(made) == 1 else f"Added {len(made)} systems."
        return Done(go=at(request, "systems"), said=said)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "systems/list.html", _list(request, usual, own))


def _list(request: Any, usual: UsualForm, own: SystemForm) -> dict[str, Any]:
    amounts = budgets(request.boat, request.today)
    counts = dict(
        Line.objects.filter(boat=request.boat, counted=True, system__isnull=False)
        .order_by()
        .values_list("system")
        .annotate(count=Count("id"))
    )
    found = (
        System.objects.filter(boat=request.boat)
        .annotate(open_jobs=Count("jobs", filter=Q(jobs__state__in=OPEN_STATES)))
        .order_by("group", "name")
    )
    groups: dict[str, list[Row]] = {}
    for system in found:
        row = Row(system, amounts.get(system.pk), system.open_jobs, counts.get(system.pk, 0))
        groups.setdefault(system.get_group_display(), []).append(row)
    return {
        "groups": list(groups.items()),
        "whole": sum(amounts.values()),
        "usual": usual,
        "own": own,
        "any_usual": bool(usual.rows),
    }


def system(request: Any, pk: int) -> HttpResponse:
    """Show a system with the budgets it has had; change its name or group."""
    found = _system(request, pk)
    start = {"name": found.name, "group": found.group, "of_the_boat": found.of_the_boat}
    if request.method == "GET":
        form = SystemForm(request.boat, initial=start, auto_id="system_%s")
        return render(request, "systems/system.html", _page(request, found, form, _blank(request, found)))
    # The undo of a change sends what stood before, in its address.
    sent = request.POST if "name" in request.POST else request.GET
    form = SystemForm(request.boat, sent, initial=start, auto_id="system_%s")

    def deed() -> Done:
        name, group, of_the_boat = form.row()
        change_system(found, name=name, group=group, of_the_boat=of_the_boat)
        before = {name: "on" if value is True else value for name, value in start.items() if value}
        undo = f"{at(request, 'system', pk)}?{urlencode(before)}"
        return Done(go=at(request, "system", pk), said=f"{name} is changed.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    fresh = _system(request, pk)
    page = _page(request, fresh, form, _blank(request, fresh))
    return response or refused_page(request, "systems/system.html", page)


def budget(request: Any, pk: int) -> HttpResponse:
    """Set what a system may cost from a day on; what it might cost before stays to be read."""
    found = _system(request, pk)
    sent = request.POST if "amount" in request.POST else request.GET
    form = BudgetForm(request.boat, sent, auto_id="budget_%s")

    def deed() -> Done:
        data = form.cleaned_data
        before = budgets(request.boat, data["on"]).get(pk)
        set_budget(found, data["amount"], on=data["on"], by=request.user, note=data["note"])
        undo = (
            "" if before is None else f"{at(request, 'system-budget', pk)}?{_back_to(request, before, data)}"
        )
        return Done(go=at(request, "system", pk), said=f"The budget of {found} is set.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    start = {"name": found.name, "group": found.group, "of_the_boat": found.of_the_boat}
    page = _page(request, found, SystemForm(request.boat, initial=start, auto_id="system_%s"), form)
    return response or refused_page(request, "systems/system.html", page)


def _back_to(request: Any, before: int, data: dict[str, Any]) -> str:
    """Return what the undo of a budget sends: the earlier amount, from the same day, so that both can be read."""
    amount = from_minor(before, request.boat.currency)
    return urlencode({"amount": amount, "on": data["on"].isoformat(), "note": "back to what it was"})


def _system(request: Any, pk: int) -> System:
    rows = System.objects.filter(boat=request.boat).select_related("boat")
    found: System = seeing.one(rows, pk=pk)
    return found


def _blank(request: Any, found: System) -> BudgetForm:
    """Return the budget form as it is first shown: today, and the budget as it stands."""
    now = budgets(request.boat, request.today).get(found.pk)
    amount = None if now is None else from_minor(now, request.boat.currency)
    return BudgetForm(request.boat, initial={"on": request.today, "amount": amount}, auto_id="budget_%s")


def _page(request: Any, found: System, form: SystemForm, budget_form: BudgetForm) -> dict[str, Any]:
    history = list(
        Budget.objects.filter(boat=request.boat, system=found)
        .select_related("entered_by")
        .order_by("-set_on", "-id")
    )
    now = next((row for row in history if row.set_on <= request.today), None)
    return {"system": found, "form": form, "budget_form": budget_form, "history": history, "now": now}
