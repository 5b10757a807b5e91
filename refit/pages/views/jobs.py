"""The work list and a job: what it wants, what was bought for it, where that lies, what it has cost."""

from datetime import date
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.db.models import (
    BigIntegerField,
    Case,
    IntegerField,
    OuterRef,
    QuerySet,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.dateparse import parse_date

from refit.boat.fields import QuantityField
from refit.boat.rights import Right
from refit.buying.models import Line
from refit.buying.reading import wanted
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.jobs import JobForm, JobSieve, systems_in_use
from refit.pages.forms.needs import WantForm, typed_of
from refit.pages.job_page import choices_for, page_of
from refit.pages.lists import exported, sieved
from refit.reports.workbook import Column, Kind
from refit.stores.actions.parts import close_need, remove_need, reopen_need
from refit.stores.models import Need
from refit.work.actions import add_job, change_job, plan_job, set_state
from refit.work.actions.days import FIRST_YEAR
from refit.work.models import TRANSITIONS, Before, Booking, Job, State

KEYS = {
    "number": ("number",),
    "title": ("title",),
    "system": ("system__name", "number"),
    "state": ("state_place", "number"),
    "before": ("before_place", "number"),
    "given": ("given_to__user__first_name", "number"),
    "days": ("days_place", "number"),
    "booked": ("booked_place", "number"),
    "cost": ("cost", "number"),
}


def jobs(request: Any) -> HttpResponse:
    """Show the work list."""
    money = Right.SEE_MONEY in request.rights
    rows = _placed(seeing.jobs(request.member).select_related("system", "given_to__user"), request.today)
    if money:
        rows = rows.annotate(cost=_cost())
    keys = KEYS if money else {key: columns for key, columns in KEYS.items() if key != "cost"}
    found = sieved(request, JobSieve, rows, keys)
    columns = [Column(word) for word in ("Job", "Title", "System", "State", "To be done", "Given to")]
    columns += [Column("Days", Kind.NUMBER), Column("Booked next", Kind.DATE)]
    columns += [Column("Still wants", Kind.NUMBER), *([Column("Cost", Kind.MONEY)] if money else [])]
    file = exported(request, "Jobs", columns, found, lambda some: _file_lines(some, money))
    if file is not None:
        return file
    page = found.rows
    unmet = _unmet(page)
    context = {
        "list": found,
        "filter": found.filter,
        "rows": [(job, unmet.get(job.pk, 0)) for job in page],
        "any_jobs": bool(page) or seeing.jobs(request.member).exists(),
    }
    return render(request, "jobs/list.html", context)


def _placed(rows: "QuerySet[Job]", today: date) -> "QuerySet[Job]":
    """Put states and times in their own order, not the alphabet's; say who comes next. What has no day comes last."""

    def places(name: str, values: list[str]) -> Case:
        whens = [When(**{name: value}, then=Value(at)) for at, value in enumerate(values)]
        return Case(*whens, default=Value(len(values)), output_field=IntegerField())

    coming = Booking.objects.filter(job=OuterRef("pk"), cancelled_at=None, day__gte=today).order_by(
        "day", "id"
    )
    return rows.annotate(
        state_place=places("state", State.values),
        before_place=places("before", Before.values),
        booked_next=Subquery(coming.values("day")[:1]),
        booked_place=Coalesce("booked_next", Value(date.max)),
        days_place=Coalesce("days", Value(Decimal(10**6)), output_field=QuantityField()),
    )


def _cost() -> Coalesce:
    """Return what each job has cost: its lines that stand in sums, cost all in; nought where there are none."""
    lines = Line.objects.filter(job=OuterRef("pk"), counted=True).order_by()
    total = Subquery(lines.values("job").annotate(total=Sum("landed")).values("total"))
    return Coalesce(
        total, Value(0), output_field=BigIntegerField()
    )  # databases disagree on where nothing sorts


def _unmet(rows: list[Job]) -> dict[int, int]:
    """Return of how many things each job still wants some."""
    return {pk: sum(1 for want in wants if want.unmet > 0) for pk, wants in wanted(rows).items()}


def _file_lines(rows: list[Job], money: bool) -> list[list[Any]]:
    unmet = _unmet(rows)
    found = []
    for job in rows:
        words = [str(job.number), job.title, job.system.name, job.get_state_display()]
        line: list[Any] = [*words, job.get_before_display(), str(job.given_to or ""), job.days]
        line += [job.booked_next, unmet.get(job.pk, 0)]  # type: ignore[attr-defined]
        found.append([*line, job.cost or 0] if money else line)  # type: ignore[attr-defined]
    return found


def job(request: Any, number: int) -> HttpResponse:
    """Show a job; while a part is being typed, what comes near it."""
    found = _job(request, number)
    if request.htmx and "words" in request.GET:
        choices = choices_for(request, request.GET["words"][:100]) if Right.WORK in request.rights else []
        return render(request, "jobs/_found.html", {"choices": choices, "typed": request.GET["words"]})
    return render(request, "jobs/job.html", page_of(request, found, WantForm(request.boat)))


def _job(request: Any, number: int) -> Job:
    rows = seeing.jobs(request.member).select_related("boat", "system", "given_to__user", "space")
    found: Job = seeing.one(rows, number=number)
    return found


def new(request: Any) -> HttpResponse:
    """Put a job on the work list."""
    if request.method == "GET":
        start = {"system": request.GET.get("system"), "title": request.GET.get("title", "")[:120]}
        context = {
            "form": JobForm(request.boat, initial=start),
            "systems": systems_in_use(request.boat).exists(),
        }
        return render(request, "jobs/new.html", context)
    form = JobForm(request.boat, request.POST)

    def deed() -> Done:
        made = add_job(request.boat, by=request.user, **form.facts())
        plan_job(made, today=request.today, **form.plan())
        said = f"Job {made.number} is on the work list."
        return Done(at(request, "job", made.number), said, at(request, "job-remove", made.number))

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "jobs/new.html", {"form": form, "systems": True})


def change(request: Any, number: int) -> HttpResponse:
    """Change what a job says."""
    found = _job(request, number)
    if request.method == "GET":
        return render(request, "jobs/change.html", {"form": JobForm(request.boat, job=found), "job": found})
    # The undo of a change sends what stood before, in its address.
    form = JobForm(request.boat, request.POST if "title" in request.POST else request.GET, job=found)
    before = {name: value for name, value in form.initial.items() if value is not None}

    def deed() -> Done:
        change_job(found, **form.facts())
        plan_job(found, today=request.today, **form.plan())
        undo = f"{at(request, 'job-change', number)}?{urlencode(before, doseq=True)}"
        return Done(go=at(request, "job", number), said=f"Job {number} is changed.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "jobs/change.html", {"form": form, "job": found})


def state(request: Any, number: int) -> HttpResponse:
    """Set how far a job is; `?to=` in the address is the undo of an earlier step."""
    found = _job(request, number)
    back = at(request, "job", number)
    before, since = found.state, found.done_on or found.begun_on
    undoing = "state" not in request.POST
    to = request.GET.get("to", "") if undoing else request.POST["state"]
    if to not in State.values:
        return press(request, lambda: Done(go=back, said="Choose a state."), back)

    def deed() -> Done:
        if undoing and to not in TRANSITIONS[before]:
            set_state(found, State.IN_HAND, today=request.today)  # every state can be reached from there
        set_state(found, to, today=_since(request) if undoing else request.today)
        undo = {"to": before, **({"on": since.isoformat()} if since else {})}
        said = f"Job {number} is {State(to).label.lower()}."
        return Done(go=back, said=said, undo=f"{at(request, 'job-state', number)}?{urlencode(undo)}")

    return press(request, deed, back)


def _since(request: Any) -> date:
    """Return the day on which a job was done, or begun if it was in hand, before the step that is undone."""
    try:
        given = parse_date(request.GET.get("on", ""))
    except ValueError:
        given = None
    if given is None or given.year < FIRST_YEAR:
        return request.today  # type: ignore[no-any-return]
    return min(given, request.today)


def _need(request: Any, number: int, pk: int) -> Need:
    rows = Need.objects.filter(boat=request.boat, job=_job(request, number)).select_related("boat", "part")
    found: Need = seeing.one(rows, pk=pk)
    return found


def need_remove(request: Any, number: int, need: int) -> HttpResponse:
    """Take something off what a job wants."""
    found = _need(request, number, need)
    back = f"{at(request, 'job', number)}#wants"

    def deed() -> Done:
        again = typed_of(found) | {"as_words": "1"}
        said = f"Job {number} no longer wants {found}."
        remove_need(found)
        return Done(go=back, said=said, undo=f"{at(request, 'need-add', number)}?{urlencode(again)}")

    return press(request, deed, back)


def need_close(request: Any, number: int, need: int) -> HttpResponse:
    """Say that a job has what it wanted."""
    found = _need(request, number, need)
    back = f"{at(request, 'job', number)}#wants"

    def deed() -> Done:
        close_need(found)
        undo = at(request, "need-open", number, need)
        return Done(go=back, said=f"Job {number} has its {found}.", undo=undo)

    return press(request, deed, back)


def need_open(request: Any, number: int, need: int) -> HttpResponse:
    """Say that a job still wants it."""
    found = _need(request, number, need)
    back = f"{at(request, 'job', number)}#wants"

    def deed() -> Done:
        reopen_need(found)
        undo = at(request, "need-close", number, need)
        return Done(go=back, said=f"Job {number} still wants {found}.", undo=undo)

    return press(request, deed, back)
