"""Estimates of a job, and guesses at what its wants may cost: set, changed, closed, each with its undo."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse

from refit.calc.money import from_minor
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.forecast import EstimateForm, GuessForm, NewAmountForm
from refit.pages.forms.needs import WantForm
from refit.pages.job_page import page_of
from refit.stores.actions.parts import guess_need
from refit.stores.models import Need
from refit.work.estimates import (
    add_estimate,
    change_amount,
    close_estimate,
    remove_estimate,
    reopen_estimate,
)
from refit.work.models import Estimate, Job


def add(request: Any, number: int) -> HttpResponse:
    """Say what a service of a job may cost."""
    job = _job(request, number)
    form = EstimateForm(request.boat, request.POST)

    def deed() -> Done:
        given = form.cleaned_data
        who = {"today": request.today, "by": request.user}
        made = add_estimate(job, words=given["words"], amount=given["amount"], on=given["on"], **who)
        undo = at(request, "estimate-remove", number, made.pk)
        return Done(go=_back(request, number), said=f"Job {number} may cost more: {made}.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, job, {"estimate_form": form})


def change(request: Any, number: int, pk: int) -> HttpResponse:
    """Say what an estimate stands at now; its undo sends what it stood at before."""
    estimate = _estimate(request, number, pk)
    form = NewAmountForm(request.boat, request.POST if "amount" in request.POST else request.GET)

    def deed() -> Done:
        given = form.cleaned_data
        before = estimate.amounts.last()
        change_amount(estimate, given["amount"], on=given["on"], today=request.today, by=request.user)
        sent = {
            "amount": from_minor(before.amount if before else 0, request.boat.currency),
            "on": given["on"].isoformat(),
        }
        undo = f"{at(request, 'estimate-change', number, pk)}?{urlencode(sent)}"
        return Done(go=_back(request, number), said=f"The estimate for {estimate} is changed.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, estimate.job, {"changed": estimate.pk, "change_form": form})


def close(request: Any, number: int, pk: int) -> HttpResponse:
    """Say that an estimate was ordered, or is no longer wanted."""
    estimate = _estimate(request, number, pk)

    def deed() -> Done:
        close_estimate(estimate, on=request.today, today=request.today)
        undo = at(request, "estimate-open", number, pk)
        return Done(go=_back(request, number), said=f"The estimate for {estimate} is closed.", undo=undo)

    return press(request, deed, _back(request, number))


def reopen(request: Any, number: int, pk: int) -> HttpResponse:
    """Say that what was estimated is still to come."""
    estimate = _estimate(request, number, pk)

    def deed() -> Done:
        reopen_estimate(estimate)
        undo = at(request, "estimate-close", number, pk)
        return Done(go=_back(request, number), said=f"The estimate for {estimate} is open.", undo=undo)

    return press(request, deed, _back(request, number))


def remove(request: Any, number: int, pk: int) -> HttpResponse:
    """Take an estimate off again."""
    estimate = _estimate(request, number, pk)

    def deed() -> Done:
        remove_estimate(estimate)
        return Done(go=_back(request, number), said=f"The estimate for {estimate} is taken off.")

    return press(request, deed, _back(request, number))


def guess(request: Any, number: int, need: int) -> HttpResponse:
    """Say what all of a thing wanted may cost; its undo sends what was guessed before."""
    job = _job(request, number)
    rows = Need.objects.filter(boat=request.boat, job=job).select_related("boat", "part")
    found: Need = seeing.one(rows, pk=need)
    form = GuessForm(request.boat, request.POST if "amount" in request.POST else request.GET)

    def deed() -> Done:
        before = found.guess
        guess_need(found, form.cleaned_data["amount"])
        sent = {"amount": "" if before is None else from_minor(before, request.boat.currency)}
        undo = f"{at(request, 'need-guess', number, need)}?{urlencode(sent)}"
        go = f"{at(request, 'job', number)}#wants"
        return Done(go=go, said=f"What {found} may cost is noted.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, job, {"guessed": found.pk, "guess_form": form})


def _job(request: Any, number: int) -> Job:
    rows = seeing.jobs(request.member).select_related("boat", "system", "given_to__user")
    found: Job = seeing.one(rows, number=number)
    return found


def _estimate(request: Any, number: int, pk: int) -> Estimate:
    rows = Estimate.objects.filter(boat=request.boat, job=_job(request, number))
    found: Estimate = seeing.one(rows.select_related("boat", "job__boat", "job__system"), pk=pk)
    return found


def _back(request: Any, number: int) -> str:
    return f"{at(request, 'job', number)}#estimates"


def _refused(request: Any, job: Job, said: dict[str, Any]) -> HttpResponse:
    context = page_of(request, job, WantForm(request.boat))
    return refused_page(request, "jobs/job.html", {**context, **said})
