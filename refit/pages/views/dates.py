"""Milestones and working days: what the refit works towards, when work is done, when nobody is there."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.rights import Right
from refit.calc.money import from_minor
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.dates import AwayForm, MilestoneForm, ReachedForm, TermsForm
from refit.work.actions import dates as acts
from refit.work.models import DayAway, Milestone, WorkTerms
from refit.work.reading import offered_jobs

PAGE = "plan/dates.html"


def dates(request: Any) -> HttpResponse:
    """Show milestones, working days and days away."""
    return render(request, PAGE, _context(request))


def _context(request: Any) -> dict[str, Any]:
    rows = list(Milestone.objects.filter(boat=request.boat).select_related("job").order_by("target", "id"))
    there = frozenset(row.kind for row in rows)
    away = DayAway.objects.filter(boat=request.boat)
    return {
        "milestones": rows,
        "milestone_form": MilestoneForm(request.boat, there=there, auto_id="milestone_%s"),
        "terms_form": _terms_form(request, acts.terms_of(request.boat)),
        "away": list(away.filter(last__gte=request.today)),
        "was_away": list(away.filter(last__lt=request.today).order_by("-first")[:12]),
        "away_form": AwayForm(request.boat, auto_id="away_%s"),
        "jobs_offered": offered_jobs(seeing.jobs(request.member)),
    }


def _terms_form(request: Any, terms: WorkTerms, sent: Any = None) -> TermsForm:
    money = Right.SEE_MONEY in request.rights
    start = {}
    if money and terms.hour_rate is not None:
        start = {"hour_rate": f"{from_minor(terms.hour_rate, request.boat.currency):f}"}
    return TermsForm(request.boat, terms, sent, money=money, initial=start, auto_id="terms_%s")


def _refused(request: Any, **forms: Any) -> HttpResponse:
    return refused_page(request, PAGE, _context(request) | forms)


# Milestones


def _milestone(request: Any, pk: int) -> Milestone:
    rows = Milestone.objects.filter(boat=request.boat).select_related("boat", "job")
    found: Milestone = seeing.one(rows, pk=pk)
    return found


def milestone_add(request: Any) -> HttpResponse:
    """Set a day that the refit works towards."""
    there = frozenset(Milestone.objects.filter(boat=request.boat).values_list("kind", flat=True))
    sent = request.POST if "kind" in request.POST else request.GET
    form = MilestoneForm(request.boat, sent, there=there, auto_id="milestone_%s")

    def deed() -> Done:
        given = form.cleaned_data
        facts = {name: given[name] for name in ("kind", "name", "target", "job")}
        made = acts.add_milestone(request.boat, today=request.today, **facts)
        undo = at(request, "milestone-remove", made.pk)
        return Done(at(request, "dates"), f"{made.name} is a milestone.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, milestone_form=form)


def milestone_change(request: Any, milestone: int) -> HttpResponse:
    """Give a milestone another day, name or job; its undo sends what stood before."""
    found = _milestone(request, milestone)
    sent = request.POST if "name" in request.POST else request.GET
    form = MilestoneForm(request.boat, sent, new=False, auto_id=f"milestone{found.pk}_%s")
    before = {
        "name": found.name,
        "target": found.target.isoformat() if found.target else "",
        "job": found.job.number if found.job else "",
    }

    def deed() -> Done:
        given = form.cleaned_data
        facts = {name: given[name] for name in ("name", "target", "job")}
        made = acts.change_milestone(found, today=request.today, **facts)
        undo = f"{at(request, 'milestone-change', milestone)}?{urlencode(before)}"
        return Done(at(request, "dates"), f"{made.name} is changed.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, changed=found.pk, change_form=form)


def milestone_reached(request: Any, milestone: int) -> HttpResponse:
    """Say that a milestone was reached."""
    found = _milestone(request, milestone)
    sent = request.POST if "on" in request.POST else request.GET
    form = ReachedForm(request.boat, sent, auto_id=f"reached{found.pk}_%s")

    def deed() -> Done:
        made = acts.reach_milestone(found, on=form.cleaned_data["on"], today=request.today)
        undo = at(request, "milestone-unreach", milestone)
        return Done(at(request, "dates"), f"{made.name} was reached on {made.reached_on:%-d %b %Y}.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, reached=found.pk, reached_form=form)


def milestone_unreach(request: Any, milestone: int) -> HttpResponse:
    """Say that a milestone is still to be reached."""
    found = _milestone(request, milestone)
    back = at(request, "dates")

    def deed() -> Done:
        on = found.reached_on.isoformat() if found.reached_on else ""
        acts.unreach_milestone(found)
        undo = f"{at(request, 'milestone-reached', milestone)}?{urlencode({'on': on})}"
        return Done(back, f"{found.name} is still to be reached.", undo)

    return press(request, deed, back)


def milestone_remove(request: Any, milestone: int) -> HttpResponse:
    """Take a milestone off."""
    found = _milestone(request, milestone)
    back = at(request, "dates")

    def deed() -> Done:
        acts.remove_milestone(found)
        again = {
            "kind": found.kind,
            "name": found.name,
            "target": found.target.isoformat() if found.target else "",
            "job": found.job.number if found.job else "",
        }
        undo = f"{at(request, 'milestone-add')}?{urlencode(again)}"
        return Done(back, f"{found.name} is no milestone any more.", undo)

    return press(request, deed, back)


# Working days


def terms(request: Any) -> HttpResponse:
    """Say which days are worked and how early parts should be here; the undo sends what stood before."""
    now = acts.terms_of(request.boat)
    form = _terms_form(request, now, request.POST if "weekdays" in request.POST else request.GET)
    before = {
        "weekdays": [at_ for at_, works in enumerate(now.weekdays) if works == "1"],
        "margin_days": now.margin_days,
        "country": now.country,
        "region": now.region,
        "hour_rate": form.initial.get("hour_rate", ""),
    }

    def deed() -> Done:
        acts.set_terms(request.boat, **form.facts())
        undo = f"{at(request, 'terms')}?{urlencode(before, doseq=True)}"
        return Done(f"{at(request, 'dates')}#working", "Working days are set.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, terms_form=form)


def away_add(request: Any) -> HttpResponse:
    """Say that nobody works on the boat from one day to another."""
    form = AwayForm(request.boat, request.POST if "first" in request.POST else request.GET, auto_id="away_%s")

    def deed() -> Done:
        given = form.cleaned_data
        made = acts.add_days_away(
            request.boat, given["first"], given["last"], today=request.today, why=given["why"]
        )
        until = "" if made.last == made.first else f" to {made.last:%-d %b %Y}"
        said = f"Nobody works on {made.first:%-d %b %Y}{until}."
        return Done(f"{at(request, 'dates')}#away", said, at(request, "away-remove", made.pk))

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, away_form=form)


def away_remove(request: Any, away: int) -> HttpResponse:
    """Say that these days are worked after all."""
    rows = DayAway.objects.filter(boat=request.boat).select_related("boat")
    found: DayAway = seeing.one(rows, pk=away)
    back = f"{at(request, 'dates')}#away"

    def deed() -> Done:
        acts.remove_days_away(found)
        again = {"first": found.first.isoformat(), "last": found.last.isoformat(), "why": found.why}
        undo = f"{at(request, 'away-add')}?{urlencode(again)}"
        return Done(back, "These days are worked after all.", undo)

    return press(request, deed, back)
