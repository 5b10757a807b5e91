"""What a job wants: put on, changed, kept for it, copied, from a list, with what goes with it; each with its undo."""

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import render

from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.needs import CopyForm, KeepForm, ListForm, NameForm, WantForm, typed_of
from refit.pages.job_page import choices_for, near_choices, page_of
from refit.pages.job_wants import companions_missing
from refit.stores.actions import kit_lists, needs
from refit.stores.actions.keeping import keep as keep_it
from refit.stores.actions.parts import add_need
from refit.stores.amounts import amount
from refit.stores.models import Need
from refit.work.models import Job

MOST_AT_ONCE = 200


def add(request: Any, number: int) -> HttpResponse:
    """Say that a job wants a part, or something in words."""
    found = job_of(request, number)
    form = WantForm(request.boat, request.POST if "quantity" in request.POST else request.GET)

    def deed() -> Done:
        given, facts = form.cleaned_data, form.facts()
        needs.check_facts(
            request.boat, given["thing"], given["quantity"], facts["wanted_by"], one_piece=facts["one_piece"]
        )
        quantity, sets = needs.in_sets(given["thing"], given["quantity"])
        need = add_need(found, part=given["thing"], words=given["words"], quantity=quantity, **facts)
        undo = at(request, "need-remove", number, need.pk)
        go = f"{at(request, 'job', number)}?with={need.pk}#wants"
        return Done(go, f"Job {number} wants {need}.{sets}", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "jobs/job.html", page_of(request, found, form))


def change(request: Any, number: int, need: int) -> HttpResponse:
    """Change what a job wants; the undo of a change sends what stood before in its address."""
    found = need_of(request, number, need)
    context: dict[str, Any] = {"job": found.job, "need": found}
    if request.method == "GET":
        return render(request, "jobs/need.html", context | {"form": WantForm(request.boat, need=found)})
    form = WantForm(request.boat, request.POST if "quantity" in request.POST else request.GET)
    before = typed_of(found)

    def deed() -> Done:
        given = form.cleaned_data
        quantity, sets = needs.in_sets(given["thing"], given["quantity"])
        changed = needs.change_need(
            found, part=given["thing"], words=given["words"], quantity=quantity, **form.facts()
        )
        undo = f"{at(request, 'need-change', number, need)}?{urlencode(before)}"
        return Done(_wants(request, number), f"Job {number} wants {_much(changed)}.{sets}", undo)

    response = act(request, form, deed) if form.is_valid() else None
    context |= {"form": form, "near": near_choices(request, form.choices)}
    return response or refused_page(request, "jobs/need.html", context)


def near(request: Any) -> HttpResponse:
    """Show the parts that come near what is typed, as a fragment."""
    typed = request.GET.get("words", "").replace("\x00", "")[:100]  # one of the databases trips over it
    return render(request, "jobs/_found.html", {"choices": choices_for(request, typed), "typed": typed})


def keep(request: Any, number: int, need: int) -> HttpResponse:
    """Keep so much of what lies free for a job; nil lets it go. `?quantity=` in the address is the undo."""
    found = need_of(request, number, need)
    form = KeepForm(request.boat, request.POST if "quantity" in request.POST else request.GET)

    def deed() -> Done:
        quantity = _valid(form)["quantity"]
        before = found.reserved
        kept = keep_it(found, quantity, today=request.today)
        what = f"{amount(kept.part, quantity)} {kept}" if kept.part else str(kept)
        piece = f", {kept.reserved_lot}" if kept.reserved_lot else ""
        said = (
            f"{what}{piece} kept for job {number}."
            if quantity
            else f"Nothing of {kept} is kept for job {number} now."
        )
        undo = f"{at(request, 'need-keep', number, need)}?{urlencode({'quantity': before})}"
        return Done(_wants(request, number), said, undo)

    return press(request, deed, _wants(request, number))


def newer(request: Any, number: int, need: int) -> HttpResponse:
    """Want the part that replaced the one that was wanted."""
    found = need_of(request, number, need)
    before, had = typed_of(found), Need.objects.filter(job=found.job).count()

    def deed() -> Done:
        changed = needs.use_newer(found)
        whole = Need.objects.filter(job=found.job).count() == had
        undo = f"{at(request, 'need-change', number, need)}?{urlencode(before)}" if whole else ""
        return Done(_wants(request, number), f"Job {number} wants {_much(changed)} in its place.", undo)

    return press(request, deed, _wants(request, number))


def with_it(request: Any, number: int, need: int) -> HttpResponse:
    """Want what goes with a part too, all of it."""
    found = need_of(request, number, need)

    def deed() -> Done:
        also = companions_missing(list(Need.objects.filter(job=found.job).select_related("part")))
        rows = also.get(found.pk, [])
        if not rows:
            raise ValidationError(f"Job {number} wants all that goes with {found} already.", code="nothing")
        return _added(
            request, number, needs.add_needs(found.job, [row.row for row in rows], on=request.today)
        )

    return press(request, deed, _wants(request, number))


def copy(request: Any, number: int) -> HttpResponse:
    """Want what another job wants."""
    found = job_of(request, number)
    form = CopyForm(request.boat, seeing.jobs(request.member), request.POST)

    def deed() -> Done:
        other = _valid(form)["job"]
        return _added(request, number, needs.copy_needs(found, other, on=request.today))

    return press(request, deed, _wants(request, number))


def from_list(request: Any, number: int) -> HttpResponse:
    """Want everything on a kit list."""
    found = job_of(request, number)
    form = ListForm(request.boat, request.POST)

    def deed() -> Done:
        kit = _valid(form)["kit"]
        return _added(request, number, kit_lists.use_list(kit, found, on=request.today))

    return press(request, deed, _wants(request, number))


def as_list(request: Any, number: int) -> HttpResponse:
    """Keep what a job wants as a list for the next time."""
    found = job_of(request, number)
    form = NameForm(request.boat, request.POST)

    def deed() -> Done:
        made = kit_lists.list_of_job(found, _valid(form)["name"])
        undo = at(request, "kit-delete", made.pk)
        return Done(at(request, "kit", made.pk), f"The list {made} is kept.", undo)

    return press(request, deed, _wants(request, number))


def remove_all(request: Any, number: int, needs_named: str) -> HttpResponse:
    """Take several things off that were just put on (undo)."""
    found = job_of(request, number)
    ids = [
        int(word) for word in needs_named.split("-") if word.isascii() and word.isdigit() and len(word) < 19
    ]
    rows = list(Need.objects.filter(boat=request.boat, job=found, pk__in=ids[:MOST_AT_ONCE]))
    if not rows:
        raise Http404("No such needs.")

    def deed() -> Done:
        needs.remove_needs(rows)
        return Done(_wants(request, number), f"Took {len(rows)} things off job {number} again.")

    return press(request, deed, _wants(request, number))


def _added(request: Any, number: int, made: list[Need]) -> Done:
    undo = at(request, "needs-remove", number, "-".join(str(need.pk) for need in made[:MOST_AT_ONCE]))
    what = str(made[0]) if len(made) == 1 else f"{made[0]} and {len(made) - 1} more"
    return Done(_wants(request, number), f"Job {number} wants {what}.", undo)


def _much(need: Need) -> str:
    return f"{amount(need.part, need.quantity)} {need}" if need.part else str(need)


def _valid(form: forms.Form) -> dict[str, Any]:
    """Return what a plain button's form says; what is wrong is said at the top of the page."""
    if not form.is_valid():
        raise ValidationError([error for errors in form.errors.as_data().values() for error in errors])
    return form.cleaned_data


def _wants(request: Any, number: int) -> str:
    return f"{at(request, 'job', number)}#wants"


def job_of(request: Any, number: int) -> Job:
    """Return the job of the address, as the member may see it."""
    rows = seeing.jobs(request.member).select_related("boat", "system", "given_to__user", "space")
    found: Job = seeing.one(rows, number=number)
    return found


def need_of(request: Any, number: int, pk: int) -> Need:
    """Return what the job of the address wants."""
    rows = Need.objects.filter(boat=request.boat, job=job_of(request, number))
    found: Need = seeing.one(rows.select_related("boat", "part", "job", "reserved_lot"), pk=pk)
    return found
