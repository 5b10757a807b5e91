"""How a job was done: by whom, how, with what, tested how; what was fitted becomes gear, what is left goes back."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.dateparse import parse_date

from refit.boat.models import Location
from refit.boat.refusals import Refused
from refit.boat.rights import Role
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.doing import (
    FinishForm,
    FittedForm,
    MoreFittedForm,
    TakenForm,
    finish_facts,
)
from refit.pages.job_photos import keep_photos
from refit.pages.job_time import TakenRow, taken_for
from refit.stores.models import Entry, PartNumber
from refit.voyage.actions import Fitted, Left, finish_job, take_back, undo_finish
from refit.voyage.models import Gear
from refit.work.actions import doing
from refit.work.actions.days import FIRST_YEAR
from refit.work.models import DoneBy, Finish, Job, Moment, State

MOST_ROWS = 40


@dataclass(frozen=True)
class Row:
    """Something that was taken for the job, with its form."""

    taken: TakenRow
    form: TakenForm


def _job(request: Any, number: int) -> Job:
    rows = seeing.jobs(request.member).select_related("boat", "system", "given_to__user", "space")
    found: Job = seeing.one(rows, number=number)
    return found


def done(request: Any, number: int) -> HttpResponse:
    """Say how a job was done; said again, it is put right."""
    job = _job(request, number)
    before = Finish.objects.filter(job=job).first()
    if request.method == "GET":
        form = FinishForm(request.boat, initial=_start(request, job, before))
        return render(request, "jobs/done.html", _context(request, job, before, form, *_rows(request, job)))
    form = FinishForm(request.boat, request.POST, request.FILES)
    rows, more = _rows(request, job, request.POST)

    def deed() -> Done:
        on = form.cleaned_data["done_on"]
        fitted, left = _fitted(job, rows, more, on), _left(rows)
        made = finish_job(job, form.done(), fitted, left, on=on, by=request.user, today=request.today)
        for side in (Moment.BEFORE, Moment.AFTER):
            keep_photos(request, job, form.cleaned_data[side.value], side)
        undo = _undo(job, before, [one.pk for one in made.gear], [one.pk for one in made.entries])
        said = f"Job {number} is done; how is on record."
        if made.gear:
            said += f" {len(made.gear)} thing{'' if len(made.gear) == 1 else 's'} on the list of gear."
        if made.entries:
            said += f" Put back: {', '.join(one.part.name for one in left)}."
        address = f"{at(request, 'job-done-undo', number)}?{urlencode(undo, doseq=True)}"
        return Done(f"{at(request, 'job', number)}#done", said[:400], address)

    forms = [row.form for row in rows] + [more]
    good = all([one.is_valid() for one in forms])
    response = act(request, form, deed) if form.is_valid() and good else None
    return response or refused_page(
        request, "jobs/done.html", _context(request, job, before, form, rows, more)
    )


def _context(
    request: Any, job: Job, before: Finish | None, form: FinishForm, rows: list[Row], more: FittedForm
) -> dict[str, Any]:
    return {
        "job": job,
        "finish": before,
        "form": form,
        "rows": rows,
        "more": more,
        "places": more.places,
        "wrong": [one for one in (*(row.form for row in rows), more) if one.errors],
        "gear": list(Gear.objects.filter(job=job).order_by("id")),
    }


def _start(request: Any, job: Job, before: Finish | None) -> dict[str, Any]:
    """Return what the form begins with: what was said before, else today and whom the job was given to."""
    start: dict[str, Any] = {"done_on": job.done_on or request.today, "done_by": DoneBy.OWNER}
    if before is not None:
        return start | finish_facts(before)
    if job.given_to:
        firm = job.given_to.role == Role.TRADE
        start |= {"done_by": DoneBy.FIRM if firm else DoneBy.OWNER, "name": str(job.given_to)}
    return start


def _rows(request: Any, job: Job, sent: Any = None) -> tuple[list[Row], MoreFittedForm]:
    """Return a form for each thing taken for the job, and one for something else that was fitted."""
    places = list(Location.objects.stowable().filter(boat=job.boat).select_related("area").by_mark())
    taken = taken_for(job)[:MOST_ROWS]
    numbers = PartNumber.objects.filter(part__in={row.part.pk for row in taken}, kind="maker").order_by("-id")
    maker = {row.part_id: (row.whose, row.number) for row in numbers}
    rows = []
    for row in taken:
        whose, number = maker.get(row.part.pk, ("", ""))
        start = {
            "name": row.part.name,
            "pieces": max(int(row.quantity), 1),
            "maker": whose,
            "model": number,
            "serial": row.lot.serial if row.lot else "",
            "to": str(row.part.usual_place) if row.part.usual_place else "",
        }
        form = TakenForm(row.quantity, places, sent, prefix=row.prefix, initial=start)
        rows.append(Row(row, form))
    return rows, MoreFittedForm(places, sent, prefix="more")


def _fitted(job: Job, rows: list[Row], more: FittedForm, on: date) -> list[Fitted]:
    found = [
        row.form.as_fitted(row.taken.part.system or job.system, on, row.taken.part)
        for row in rows
        if row.form.is_fitted
    ]
    return [*found, *([more.as_fitted(job.system, on)] if more.is_fitted else [])]


def _left(rows: list[Row]) -> list[Left]:
    found = (row.form.as_left(row.taken.part, row.taken.lot) for row in rows)
    return [left for left in found if left is not None]


def _undo(job: Job, before: Finish | None, gear: list[int], entries: list[int]) -> dict[str, Any]:
    """Return what the undo is told: how far the job was, what was said of it before, what was written now."""
    told: dict[str, Any] = {"state": job.state, "gear": gear, "entry": entries}
    if job.done_on:
        told["done_on"] = job.done_on.isoformat()
    return told | ({"again": "1", **finish_facts(before)} if before else {})


def undo(request: Any, number: int) -> HttpResponse:
    """Take back how a job was done, with the gear it made and what was put back by it."""
    job = _job(request, number)
    told = request.GET
    back = at(request, "job", number)
    state = told.get("state", "")
    gear = _named(Gear.objects.filter(job=job).select_related("boat"), told.getlist("gear"))
    entries = _named(Entry.objects.filter(boat=request.boat).select_related("boat"), told.getlist("entry"))
    who = {"by": request.user, "today": request.today}

    def deed() -> Done:
        if told.get("again"):
            form = FinishForm(request.boat, {"done_on": request.today} | told.dict())
            if not form.is_valid():
                raise Refused("That can no longer be put back; say it on the job’s page.", code="unknown")
            doing.finish(job, form.done(), on=form.cleaned_data["done_on"], **who)
            take_back(job, gear, entries, **who)
            if state in State.values and state != State.DONE:  # it was taken up again in between
                doing.reopen(job, state, today=request.today)
            return Done(back, f"How job {number} was done is as it was.")
        to = state if state in State.values else State.IN_HAND
        undo_finish(job, to, gear, entries, done_on=_on(request), **who)
        return Done(back, f"Job {number} is {State(to).label.lower()} again.")

    return press(request, deed, back)


def _on(request: Any) -> date | None:
    try:
        given = parse_date(request.GET.get("done_on", ""))
    except ValueError:
        return None
    return min(given, request.today) if given and given.year >= FIRST_YEAR else None


def _named(rows: "QuerySet[Any]", words: list[str]) -> list[Any]:
    """Return the rows whose ids an address names; those that are not there are passed over."""
    ids = [int(word) for word in words[:100] if word.isascii() and word.isdigit() and len(word) < 19]
    return list(rows.filter(pk__in=ids).order_by("pk"))
