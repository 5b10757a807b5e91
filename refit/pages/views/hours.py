"""Hours today: own work of each person on each job, typed at night; and the sums by job and person."""

import hashlib
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.dateparse import parse_date

from refit.boat.models import Member
from refit.boat.rights import Role
from refit.calc.text import clean, fold
from refit.calc.worktime import hours_and_minutes, worth
from refit.pages import lists, seeing
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.doing import HoursForm, Person, box
from refit.reports.tables import TableExport
from refit.reports.workbook import Column, Kind
from refit.work.actions.dates import terms_of
from refit.work.actions.doing import set_hours
from refit.work.models import Hours, Job, State
from refit.work.reading import hours_table, offered_jobs

RECENT = timedelta(days=14)  # a job worked on so lately stands on the page
HELPED = timedelta(days=30)  # so long a helper keeps a box
MOST_HELPERS, MOST_JOBS = 12, 60
COLUMNS = (
    Column("Day", Kind.DATE),
    Column("Job", Kind.NUMBER),
    Column("Title"),
    Column("System"),
    Column("Person"),
    Column("Hours", Kind.NUMBER),
    Column("Note"),
)


def hours(request: Any) -> HttpResponse:
    """Show the hours of a day to be typed, and all sums; take what was typed."""
    if request.method == "GET":
        if request.GET.get("export") in ("xlsx", "csv"):
            return _file(request, request.GET["export"])
        return render(
            request, "hours/hours.html", _context(request, _form(request, _day(request.GET, request)))
        )
    sent = request.POST if "day" in request.POST else request.GET
    day = _day(sent, request)
    form = _form(request, day, sent)
    before = _as_sent(request, form, day)

    def deed() -> Done:
        kept = set_hours(request.boat, day, form.worked(), by=request.user, today=request.today)
        total = hours_and_minutes(sum(row.minutes for row in kept))
        page = f"{at(request, 'hours')}?{urlencode({'day': day.isoformat()})}"
        said = f"{total} hours of work on {day:%-d %b %Y}." if kept else f"No hours on {day:%-d %b %Y}."
        return Done(page, said, f"{at(request, 'hours')}?{urlencode(before(form), doseq=True)}")

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "hours/hours.html", _context(request, form, day))


def _day(sent: Any, request: Any) -> date:
    """Return the day asked for; today if none or one that can't be."""
    try:
        given = parse_date(sent.get("day", ""))
    except ValueError:
        given = None
    return min(given, request.today) if given and given.year >= 1950 else request.today


def _people(request: Any, day: date, sent: Any) -> list[Person]:
    """Return whose hours may be typed: those who are signed in first, the other owners and crew, helpers by name."""
    worked = Hours.objects.filter(boat=request.boat, day=day, who__isnull=False).values("who")
    rows = Member.objects.filter(boat=request.boat).select_related("user").order_by("user__first_name", "pk")
    able = [row for row in rows.filter(Q(role__in=[Role.OWNER, Role.CREW]) | Q(user__in=worked))]
    able.sort(key=lambda row: row.user_id != request.user.pk)
    people = [Person(f"u{row.user_id}", str(row), row.user) for row in able]
    since = Hours.objects.filter(boat=request.boat, day__gte=day - HELPED, day__lte=day).exclude(helper="")
    names = [*since.order_by("helper").values_list("helper", flat=True).distinct()]
    names += [_helper(name) for name in sent.getlist("helper")]
    helpers = {fold(name): name for name in reversed(names) if fold(name)}
    ordered = sorted(helpers.values(), key=str.casefold)[:MOST_HELPERS]
    return people + [Person(_key(name), name) for name in ordered]


def _key(name: str) -> str:
    """Return what a helper's boxes are named by: it follows from the name, whoever else is on the page."""
    return f"h{hashlib.sha256(fold(name).encode()).hexdigest()[:10]}"


def _helper(text: str) -> str:
    try:
        return clean(text)[:60]
    except ValueError:
        return ""


def _jobs(request: Any, day: date, sent: Any) -> list[Job]:
    """Return the jobs that stand on the page: in hand, worked on lately or that day, done that day, or sent."""
    numbers = [
        int(word) for word in sent.getlist("job") if word.isascii() and word.isdigit() and len(word) < 10
    ]
    lately = Hours.objects.filter(boat=request.boat, day__gte=day - RECENT, day__lte=day).values("job")
    wanted = Q(state=State.IN_HAND) | Q(pk__in=lately) | Q(done_on=day) | Q(number__in=numbers[:MOST_JOBS])
    return list(
        seeing.jobs(request.member).filter(wanted).select_related("boat").order_by("number")[:MOST_JOBS]
    )


def _form(request: Any, day: date, sent: Any = None) -> HoursForm:
    asked = request.GET if sent is None else sent
    jobs, people = _jobs(request, day, asked), _people(request, day, asked)
    there = {
        (row.job_id, row.who_id, row.helper): row.minutes
        for row in Hours.objects.filter(boat=request.boat, day=day)
    }
    start = {
        box(job, person): there.get(
            (job.pk, person.user.pk if person.user else None, "" if person.user else person.name), 0
        )
        for job in jobs
        for person in people
    }
    return HoursForm(request.boat, jobs, people, sent, initial=start)


def _as_sent(request: Any, form: HoursForm, day: date) -> Any:
    """Return how to say what stood before in the words of the form, for its undo."""
    helpers = [person.name for person in form.people if not person.user]
    stood = {name: hours_and_minutes(value) for name, value in form.initial.items()}

    def before(filled: HoursForm) -> dict[str, Any]:
        another = filled.cleaned_data["another"]
        jobs = [job.number for job in form.shown]
        more = {}
        if another is not None:
            jobs.append(another.number)
            more = {box(another, person): "0:00" for person in form.people}
        return {"day": day.isoformat(), "job": jobs, "helper": helpers, **stood, **more}

    return before


def _context(request: Any, form: HoursForm, day: date | None = None) -> dict[str, Any]:
    day = day or _day(request.GET, request)
    table = hours_table(request.boat)
    terms = terms_of(request.boat)
    context = {
        "form": form,
        "day": day,
        "earlier": day - timedelta(days=1),
        "later": day + timedelta(days=1) if day < request.today else None,
        "sums": _sums(form),
        "helpers": [person.name for person in form.people if not person.user],
        "table": table,
        "lines": [_line(row.job, table.people, row.minutes, row.total) for row in table.rows],
        "total": _line(None, table.people, table.totals, table.total),
        "jobs_offered": offered_jobs(seeing.jobs(request.member)),
    }
    if "see_money" in request.rights and terms.hour_rate is not None:
        context |= {"hour_rate": terms.hour_rate, "hours_worth": worth(table.total, terms.hour_rate)}
    return context


def _line(job: Job | None, people: list[str], minutes: list[int], total: int) -> dict[str, Any]:
    cells = [
        (name, hours_and_minutes(some) if some else "") for name, some in zip(people, minutes, strict=True)
    ]
    return {"job": job, "cells": cells, "total": hours_and_minutes(total)}


def _sums(form: HoursForm) -> list[tuple[str, str]]:
    """Return how long each person is down for that day."""
    found = []
    for person in form.people:
        minutes = sum(form.initial.get(box(job, person), 0) for job in form.shown)
        if minutes:
            found.append((person.name, hours_and_minutes(minutes)))
    return found


def _file(request: Any, kind: str) -> HttpResponse:
    """Return all hours as a spreadsheet, a line for each person, job and day."""
    rows = Hours.objects.filter(boat=request.boat).select_related("job__system", "who").order_by("day", "id")
    lines = [
        [
            row.day,
            row.job.number,
            row.job.title,
            row.job.system.name,
            (row.who.first_name or row.who.get_username()) if row.who else row.helper,
            (Decimal(row.minutes) / 60).quantize(Decimal("0.01")),
            row.note,
        ]
        for row in rows.iterator(chunk_size=lists.AT_A_TIME)
    ]
    return lists.file_of(request, TableExport("Hours", COLUMNS, lines), kind)
