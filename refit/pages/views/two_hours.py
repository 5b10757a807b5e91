"""I have two hours: the jobs that can be done now, as the day and the hours allow; each opens its fetch list."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from refit.buying.doable import LONGER, Doable, doable
from refit.buying.netted import netted
from refit.calc.numbers import format_quantity
from refit.calc.worktime import days_in_words
from refit.pages.acting import at
from refit.pages.forms.two_hours import TicksForm
from refit.pages.plan_rows import critical_of

MOST = 60


def two_hours(request: Any) -> HttpResponse:
    """Show the jobs that can be done now."""
    asked = any(name in request.GET for name in TicksForm.base_fields)
    form = TicksForm(request.GET if asked else None)
    ticks = form.ticks
    net = netted(request.boat, request.today)
    found = doable(net, critical_of(net), ticks)
    context = {
        "form": form,
        "rows": [_shown(request, row) for row in found.rows[:MOST]],
        "going": [_shown(request, row) for row in found.going[:MOST]],
        "many": len(found.rows),
        "left_out": [(count, why) for why, count in found.left_out.most_common()],
        "longer": LONGER in found.left_out,
        "waiting": found.waiting,
        "hours": format_quantity(ticks.hours) if ticks.hours is not None else "",
        "any_jobs": bool(net.work.jobs),
    }
    return render(request, "plan/two_hours.html", context)


def _shown(request: Any, row: Doable) -> dict[str, Any]:
    days = row.job.days
    return {
        "row": row,
        "job": row.job,
        "time": "" if days is None else days_in_words(days),
        "go": at(request, "job-fetch", row.job.number),
    }
