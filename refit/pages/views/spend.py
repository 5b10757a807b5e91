"""Spend: a number first, the table that proves it, the lines below, and the workbook of it all."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from django.db.models import Count, Sum
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.models import Boat
from refit.buying import drawn
from refit.buying import spend as money_spent
from refit.buying.models import COUNTED_STATES, Charge
from refit.buying.spend import Fact, Filters, Money
from refit.calc.dates import last_day_of_month
from refit.carry import ending
from refit.carry import spend as rows_of
from refit.carry.sold import sold
from refit.carry.spend import SystemSpend
from refit.pages.acting import at, refused_page
from refit.pages.forms.spend import NONE, SpendForm
from refit.pages.lists import XLSX, attached, listed
from refit.reports.spend import NO_JOB, spend_workbook

TABS = (("system", "System"), ("job", "Job"), ("supplier", "Supplier"), ("month", "Month"))
SORTS = {
    "date": ("-order__ordered_on", "-order__number", "position"),
    "order": ("order__number", "position"),
    "system": ("system__name",),
    "job": ("job__number",),
    "cost": ("landed",),
}


@dataclass(frozen=True)
class Bar:
    """Ordered against budget, in whole per cent of the longest row."""

    now: int
    over: int = 0
    tick: int = 0


@dataclass(frozen=True)
class Row:
    """One row of the table: its word, the way down to its lines, its money."""

    word: str
    go: str
    money: Money
    bar: Bar
    budget: int | None = None
    to_come: int = 0
    soft: str = ""

    @property
    def forecast(self) -> int:
        return self.money.ordered + self.to_come

    @property
    def over(self) -> int:
        return max(self.forecast - self.budget, 0) if self.budget is not None else 0

    @property
    def under(self) -> int:
        return max((self.budget or 0) - self.forecast, 0)


@dataclass
class Total:
    """A sum of rows."""

    budget: int = 0
    money: Money = field(default_factory=Money)
    to_come: int = 0

    @property
    def forecast(self) -> int:
        return self.money.ordered + self.to_come

    @property
    def over(self) -> int:
        return max(self.forecast - self.budget, 0) if self.budget else 0

    @property
    def under(self) -> int:
        return max(self.budget - self.forecast, 0)


@dataclass(frozen=True)
class Block:
    """The systems of one group."""

    name: str
    rows: list[Row]
    sum: Total


def spend(request: Any) -> HttpResponse:
    """Show what was spent, by system, job, supplier or month."""
    form = SpendForm(request.boat, request.GET)
    by = request.GET.get("by", "system")
    by = by if by in dict(TABS) else "system"
    context: dict[str, Any] = {"form": form, "by": by, "tabs": _tabs(request, by)}
    if not form.is_valid():
        return refused_page(request, "spend/spend.html", context)
    filters = form.filters()
    facts = money_spent.facts(request.boat, filters)
    context["whole"] = whole = Money()
    for fact in facts:
        whole.add(Money(fact.ordered, fact.delivered, fact.paid))
    context |= {
        "filtered": filters.any,
        "filter_words": form.words(),
        "against_budget": by == "system" and not rows_of.narrowed(filters),
        "xlsx": f"{at(request, 'spend-xlsx')}{_kept(request)}",
        "bills": _bills_to_come(request.boat),
        "stores": drawn.value(request.boat),
        "to_come": whole.ordered - whole.delivered,
        "sold": sold(request.boat, filters),
    }
    context |= _by_system(request, filters, facts) if by == "system" else _flat(request, by, filters, facts)
    return render(request, "spend/spend.html", context)


def xlsx(request: Any) -> HttpResponse:
    """Send the whole of spend as a workbook, under the same filters."""
    form = SpendForm(request.boat, request.GET)
    if not form.is_valid():
        return refused_page(request, "spend/spend.html", {"form": form, "by": "system", "tabs": []})
    found = rows_of.report(request.boat, form.filters(), on=request.today, words=form.words())
    name = f"{request.boat.slug}-spend-{request.today.isoformat()}.xlsx"
    return attached(spend_workbook(found), name, XLSX)


def lines(request: Any) -> HttpResponse:
    """Show the order lines that a sum is made of, under the same filters."""
    form = SpendForm(request.boat, request.GET)
    if not form.is_valid():
        return refused_page(request, "spend/lines.html", {"form": form})
    found = money_spent.lines(request.boat, form.filters())
    sums = found.aggregate(landed=Sum("landed"), goods=Sum("goods"), back=Sum("refunded"))
    whole = {name: total or 0 for name, total in sums.items()}
    facts = money_spent.facts(request.boat, form.filters())
    # The sentence on top is that of the page above: net of what came back.
    whole |= {"ordered": whole["landed"] - whole["back"], "delivered": sum(fact.delivered for fact in facts)}
    rows = found.select_related("order__supplier", "system", "job", "part", "place")
    context = {
        "form": form,
        "filter_words": form.words(),
        "list": listed(request, rows, SORTS),
        "whole": whole,
        "charges": whole["landed"] - whole["goods"],
        "xlsx": f"{at(request, 'spend-xlsx')}{_kept(request)}",
        "up": f"{at(request, 'spend')}{_kept(request, system='', job='', supplier='')}",
    }
    return render(request, "spend/lines.html", context)


def _kept(request: Any, **changes: str) -> str:
    """Return the filters of this address as a query, with some of them set or (empty) left out."""
    query = request.GET.copy()
    for name in ("page", "sort", "by"):
        query.pop(name, None)
    for name, value in changes.items():
        query[name] = value
    for name in [name for name in query if not query[name]]:
        del query[name]
    return f"?{query.urlencode()}" if query else ""


def _tabs(request: Any, by: str) -> list[dict[str, Any]]:
    found = []
    for key, word in TABS:
        query = _kept(request)
        query += ("&" if query else "?") + f"by={key}"
        found.append({"word": word, "go": query, "here": key == by})
    return found


def _down(request: Any, **changes: str) -> str:
    return f"{at(request, 'spend-lines')}{_kept(request, **changes)}"


def _by_system(request: Any, filters: Filters, facts: list[Fact]) -> dict[str, Any]:
    """Return the systems in blocks: those of the boat, their subtotal, then yard, tools and papers."""
    coming = ending.coming(request.boat, filters, request.today)
    rows = rows_of.by_system(request.boat, filters, facts, request.today, coming)
    if rows_of.narrowed(filters):  # the whole budget says nothing about some of the lines
        rows = [replace(row, budget=None) for row in rows]
    longest = max([1, *(max(row.budget or 0, row.money.ordered) for row in rows)])
    boat, beside = [r for r in rows if r.system.of_the_boat], [r for r in rows if not r.system.of_the_boat]
    return {
        "boat_blocks": _blocks(request, boat, longest),
        "boat_sum": _sum(boat),
        "beside_blocks": _blocks(request, beside, longest),
        "all_sum": _sum(rows),
        "has_rows": bool(rows),
    }


def _blocks(request: Any, rows: Sequence[SystemSpend], longest: int) -> list[Block]:
    groups: dict[str, list[SystemSpend]] = {}
    for row in rows:
        groups.setdefault(row.system.get_group_display(), []).append(row)
    return [
        Block(name, [_system_row(request, row, longest) for row in inside], _sum(inside))
        for name, inside in groups.items()
    ]


def _system_row(request: Any, row: SystemSpend, longest: int) -> Row:
    return Row(
        word=row.system.name,
        go=_down(request, system=str(row.system.pk)) if row.system.pk else "",
        money=row.money,
        bar=_bar(row.money.ordered, row.budget, longest),
        budget=row.budget,
        to_come=row.to_come,
    )


def _sum(rows: Sequence[SystemSpend]) -> Total:
    found = Total()
    for row in rows:
        found.budget += row.budget or 0
        found.money.add(row.money)
        found.to_come += row.to_come
    return found


def _bar(ordered: int, budget: int | None, longest: int) -> Bar:
    """Return the bar of a row; what lies over the budget follows what lies within."""
    within = max(0, ordered if budget is None else min(ordered, budget))
    over = max(0, ordered - within) if budget is not None else 0
    now = 100 * within // longest
    return Bar(now, max(1, 100 * over // longest) if over else 0, 100 * (budget or 0) // longest)


def _flat(request: Any, by: str, filters: Filters, facts: list[Fact]) -> dict[str, Any]:
    """Return the rows by job, supplier or month."""
    makers = {"job": _job_rows, "supplier": _supplier_rows, "month": _month_rows}
    found = makers[by](request, filters, facts)
    longest = max([1, *(money.ordered for _, _, _, money in found)])
    rows = [
        Row(word=word, soft=soft, go=go, money=money, bar=_bar(money.ordered, None, longest))
        for word, soft, go, money in found
    ]
    return {"rows": rows, "has_rows": bool(rows), "heading": dict(TABS)[by]}


Flat = list[tuple[str, str, str, Money]]


def _job_rows(request: Any, filters: Filters, facts: list[Fact]) -> Flat:
    found = []
    for row in rows_of.by_job(request.boat, facts):
        key = str(row.job.number) if row.job else NONE
        word = f"{row.job.number} {row.job.title}" if row.job else NO_JOB.capitalize()
        soft = row.job.system.name if row.job else ""
        found.append((word, soft, _down(request, job=key), row.money))
    return found


def _supplier_rows(request: Any, filters: Filters, facts: list[Fact]) -> Flat:
    return [
        (row.supplier.name, "", _down(request, supplier=str(row.supplier.pk)), row.money)
        for row in rows_of.by_supplier(request.boat, facts)
        if row.supplier
    ]


def _month_rows(request: Any, filters: Filters, facts: list[Fact]) -> Flat:
    """Return the months; the way down leads to what was ordered in the month, so others have none."""
    found = []
    for month, money in money_spent.by_month(request.boat, facts).items():
        first = date.fromisoformat(f"{month}-01")
        since = max(first, filters.since or first)
        last = last_day_of_month(first)
        until = min(last, filters.until or last)
        go = _down(request, since=since.isoformat(), until=until.isoformat()) if money.ordered else ""
        found.append((f"{first:%B %Y}", "", go, money))
    return found


def _bills_to_come(boat: Boat) -> dict[str, Any]:
    """Return how many charges stand as expected only, and what they are expected to be."""
    expected = Charge.objects.filter(boat=boat, expected=True, order__state__in=COUNTED_STATES)
    return expected.aggregate(count=Count("id"), effect=Sum("effect"))
