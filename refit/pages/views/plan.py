"""The plan: what the launch hangs on, bars over dates, what cannot be met; on paper and as a spreadsheet."""

from datetime import timedelta
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe

from refit.boat.identity import identity
from refit.buying.hanging import Hangs, Names, clash_words, contradiction_of, hanging
from refit.buying.netted import NeedInTime, Netted, netted
from refit.pages import plan_rows
from refit.pages.acting import at
from refit.pages.forms.plan import PlanSieve, PlanView
from refit.pages.lists import file_of
from refit.pages.plan_dangers import dangers_of, few
from refit.pages.plan_rows import Row
from refit.reports import bars
from refit.reports.plan_sheet import plan_pdf
from refit.reports.tables import TableExport
from refit.work.models import Job

WIDTH, SMALL_WIDTH = 1132, 320  # of the drawings, px: the page on a desk, a row on a phone
A_PAGE = 60
MOST = 8  # of what is told above the plan; the rest is counted
MOST_DAYS = 800  # on paper: a plan that runs on longer is cut there


def plan(request: Any) -> HttpResponse:
    """Show what each milestone hangs on, and the jobs of some weeks as bars."""
    net = netted(request.boat, request.today)
    sieve = PlanSieve(net.work.jobs, request.today, request.GET)
    view = sieve.view()
    rows = plan_rows.rows_of(request, net, view.by)
    if request.GET.get("export") in ("xlsx", "csv"):
        lines = [plan_rows.file_row(row) for row in rows if plan_rows.passes(row, view)]
        return file_of(request, TableExport("Plan", plan_rows.COLUMNS, lines), request.GET["export"])
    found = plan_rows.shown(rows, view)
    page = Paginator(found, A_PAGE).get_page(request.GET.get("page"))
    sheet = plan_rows.sheet_of(net, "The plan", page.object_list, view.first, view.last)
    context = {
        "sieve": PlanSieve(net.work.jobs, request.today, initial=_initial(view)),
        "narrowed": sieve.narrows,
        "view": view,
        "rows": [_shown(row, before, view, request.today) for row, before in _pairs(list(page.object_list))],
        "page": page,
        "any_rows": bool(rows),
        "drawing": _svg(bars.svg(sheet, WIDTH)),
        "legend": [(_svg(sample.svg), sample.words) for sample in bars.legend(sheet)],
        "all_jobs": len(net.work.jobs),
    }
    return render(
        request,
        "plan/plan.html",
        context | told(request, net) | {"dangers": few(dangers_of(net, view.first, view.last))},
    )


def pdf(request: Any) -> HttpResponse:
    """Give the plan on paper: the whole of it, or the weeks and jobs that are looked at."""
    net = netted(request.boat, request.today)
    view = PlanSieve(net.work.jobs, request.today, request.GET).view()
    rows = [row for row in plan_rows.rows_of(request, net, view.by) if plan_rows.passes(row, view)]
    first, last = view.first, view.last
    if not request.GET.get("weeks") and not request.GET.get("start"):
        last = min(max(net.plan.end, first + timedelta(days=27)), first + timedelta(days=MOST_DAYS))
    else:
        rows = plan_rows.shown(rows, view)
    sheet = plan_rows.sheet_of(net, f"Plan of {request.boat.name}", rows, first, last)
    chains = hanging(net)
    content = plan_pdf(
        sheet,
        identity=identity(request.boat),
        as_at=request.today,
        hangs_on=_on_paper(chains[0]) if chains else "",
    )
    response = HttpResponse(content, content_type="application/pdf")
    name = f"{request.boat.slug}-plan-{request.today.isoformat()}.pdf"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def told(request: Any, net: Netted) -> dict[str, Any]:
    """Return what is said above the plan: chains, what is missed, what contradicts itself, what nobody knows."""
    chains = hanging(net)
    names = Names(net)
    wrong, about = contradiction_of(net)
    clashes = [(names.jobs[clash.key], clash, clash_words(clash, names)) for clash in net.plan.clashes]
    return {
        "chains": [(chain, [(each, _help_go(request, each)) for each in chain.helps]) for chain in chains],
        "contradiction": wrong,
        "about": about[:MOST],
        "missed": clashes[:MOST],
        "missed_more": max(len(clashes) - MOST, 0),
        "unsure": [_unsure(row) for row in net.unsure[:MOST]],
        "unsure_more": max(len(net.unsure) - MOST, 0),
    }


def _help_go(request: Any, each: Any) -> str:
    """Return where one does what would help."""
    if each.order is not None and "see_money" in request.rights:
        return at(request, "chase-one" if "buy" in request.rights else "order", each.order)
    if each.job is not None and each.part is not None and "buy" in request.rights:
        return f"{at(request, 'order-new')}?job={each.job}"
    if each.part is not None:
        return at(request, "part", each.part)
    return at(request, "job", each.job) if each.job else ""


def _unsure(row: NeedInTime) -> tuple[Job, str, str]:
    """Return a need that nobody knows the day of: its job, what, and why."""
    name = row.need.part.name if row.need.part else row.need.words
    for line in row.lines:
        due = line.order.expected_on
        late = f"was expected {due:%-d %b %Y} and has not come" if due else "has no day promised"
        return row.job, name, f"order {line.order.number} from {line.order.supplier} {late}"
    return row.job, name, "nobody has said how long it takes to come"


def _initial(view: PlanView) -> dict[str, Any]:
    names = ("by", "weeks", "system", "space", "critical", "booked")
    return {name: getattr(view, name) for name in names} | {"start": view.first}


def _pairs(rows: list[Row]) -> list[tuple[Row, Row | None]]:
    return list(zip(rows, [None, *rows], strict=False))


def _shown(row: Row, before: Row | None, view: PlanView, today: Any) -> dict[str, Any]:
    opens = before is None or before.group != row.group
    drawn = bars.mini(row.bar, view.first, view.last, SMALL_WIDTH, today)
    return {"row": row, "opens": row.group if opens else "", "bar": _svg(drawn)}


def _on_paper(chain: Hangs) -> str:
    return f"{chain.sentence}. {chain.lateness.capitalize()}." if chain.lateness else f"{chain.sentence}."


def _svg(drawn: str) -> SafeString:
    """Mark a drawing as safe: it was drawn and escaped in reports/bars.py."""
    return mark_safe(drawn)
