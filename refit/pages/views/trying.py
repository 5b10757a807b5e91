"""What if: a part or an order later or sooner, jobs left out or moved past the launch. Looking keeps nothing; Keep does."""

from datetime import date, timedelta
from typing import Any

from django.core import signing
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.refusals import Refused
from refit.boat.rights import Right
from refit.buying.actions.chasing import promise, take_back_promise
from refit.buying.hanging import Names, clash_words, contradiction_of, days, hanging, long
from refit.buying.models import Order, Promise
from refit.buying.netted import Netted, netted
from refit.buying.trying import Saved, Tried, saved, tried
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.trying import KeepForm, TryForm
from refit.work.actions.putting_off import Was, put_back, put_off

PAGE = "plan/try.html"
SALT = "refit.plan.try"
MOST = 40  # jobs that move, shown by name


def trying(request: Any) -> HttpResponse:
    """Show what would come of it; nothing is kept."""
    net = netted(request.boat, request.today)
    form = _form(request, net, request.GET)
    found = tried(request.boat, net, form.trial) if form.is_bound and form.is_valid() and form.trial else None
    keep = KeepForm(request.boat, auto_id="keep_%s")
    return render(request, PAGE, _context(request, net, form, found, keep))


def keep(request: Any) -> HttpResponse:
    """Put the jobs of a trial off, and write the order's new day down as a promise."""
    net = netted(request.boat, request.today)
    form = _form(request, net, request.POST)
    kept = KeepForm(request.boat, request.POST, auto_id="keep_%s")
    found = None
    if form.is_valid() and kept.is_valid() and form.trial:
        found = tried(request.boat, net, form.trial)
        response = act(request, kept, lambda: _keep(request, net, form, kept, found))  # type: ignore[arg-type]
        if response is not None:
            return response
    elif form.is_valid() and not form.trial:
        kept.add_error(None, "Nothing is tried; choose what to try first.")
    return refused_page(request, PAGE, _context(request, net, form, found, kept))


def back(request: Any) -> HttpResponse:
    """Put back what was kept of a trial (undo)."""

    def deed() -> Done:
        try:
            was, promised, chase_on = signing.loads(request.GET.get("was", ""), salt=SALT)
        except signing.BadSignature:
            raise Refused(
                "This can no longer be put back; set the jobs on their own pages.", code="unknown"
            ) from None
        rows = [Was(job, state, before, _day(begun), put) for job, state, before, begun, put in was]
        put_back(request.boat, rows)
        if promised and Right.BUY in request.rights:
            rows_of = Promise.objects.filter(boat=request.boat).select_related("boat")
            made = rows_of.filter(pk=promised).first()
            if made is None:
                raise Refused("That promise is taken back already.", code="gone")
            take_back_promise(made, chase_on=_day(chase_on))
        return Done(at(request, "plan"), "Put back as it was.")

    return press(request, deed, at(request, "plan"))


def _form(request: Any, net: Netted, sent: Any) -> TryForm:
    """Return the form with what the milestones hang on offered first; bound where something is asked."""
    first = []
    for chain in hanging(net):
        if chain.root.line is not None:
            first.append(f"o{chain.root.line.order.number}")
        if chain.root.need is not None and chain.root.need.met is not None:
            first.append(f"p{chain.root.need.met.buy}")
    if not any(name in sent for name in TryForm.base_fields):
        return TryForm(net, first=first)
    data = sent.copy()
    for name in ("drop", "past"):  # numbers typed and boxes ticked stand in one box afterwards
        data[name] = ", ".join(filter(None, sent.getlist(name)))
    return TryForm(net, data, first=first)


def _keep(request: Any, net: Netted, form: TryForm, kept: KeepForm, found: Tried) -> Done:
    if found.after.contradiction:
        raise Refused("This contradicts itself and cannot be kept; see above.", code="contradiction")
    put = {job.pk: found.trial.put for job in [*found.past, *found.along]}
    put |= {job.pk: form.drop_where for job in found.dropped}
    promising = kept.cleaned_data["promise"] and Right.BUY in request.rights and found.trial.suppose.orders
    if not put and not promising:
        raise Refused(
            "Nothing of this can be kept: a part comes when it comes. Write down what was promised on its order.",
            code="nothing",
        )
    was = put_off(request.boat, put, today=request.today) if put else []
    made, chase_on = _promise(request, found, kept.cleaned_data["who"]) if promising else (None, None)
    rows = [(row.job, row.state, row.before, _iso(row.begun_on), row.put) for row in was]
    token = signing.dumps((rows, made.pk if made else None, _iso(chase_on)), salt=SALT, compress=True)
    said = []
    if put:
        said.append(f"{len(put)} job{'' if len(put) == 1 else 's'} put off")
    if made and made.day:
        said.append(f"order {made.order.number} expected {long(made.day)}")
    return Done(
        at(request, "plan"), f"Kept: {', '.join(said)}.", f"{at(request, 'plan-try-back')}?was={token}"
    )


def _promise(request: Any, found: Tried, who: str) -> tuple[Promise, date | None]:
    ((number, count),) = found.trial.suppose.orders.items()
    order: Order = seeing.one(seeing.orders(request.member).select_related("boat"), number=number)
    if order.expected_on is None or order.expected_on < request.today:
        raise Refused(f"Order {number} has no day to go by; write down what was promised.", code="no_day")
    chase_on = order.chase_on if order.chase_on and order.chase_on >= request.today else None
    made = promise(
        order,
        max(order.expected_on + timedelta(days=count), request.today),
        who=who,
        said_on=request.today,
        chase_on=chase_on,
        note="kept from a trial of the plan",
        by=request.user,
        today=request.today,
    )
    return made, order.chase_on


def _context(request: Any, net: Netted, form: TryForm, found: Tried | None, kept: Form) -> dict[str, Any]:
    context: dict[str, Any] = {
        "form": form,
        "keep_form": kept,
        "tried": found,
        "chained": _chained(net),
        "has_milestones": bool(net.plan.milestones),
    }
    if found is None:
        return context
    names = Names(found.before)
    wrong, about = contradiction_of(found.after)
    context |= {
        "milestones": [(row, _moved_words(row.days)) for row in found.milestones],
        "moved": [(job, row, _moved_words(row.finish_days)) for job, row in found.moved[:MOST]],
        "moved_more": max(len(found.moved) - MOST, 0),
        "missed": [(names.jobs[clash.key], clash, clash_words(clash, names)) for clash in found.missed],
        "made": [(names.jobs[clash.key], clash) for clash in found.kept],
        "contradiction": wrong,
        "about": about,
        "may_promise": bool(found.trial.suppose.orders) and Right.BUY in request.rights,
        "can_keep": bool(found.past or found.dropped)
        or (bool(found.trial.suppose.orders) and Right.BUY in request.rights),
        "sent": [
            (name, value) for name in TryForm.base_fields for value in [form.data.get(name, "")] if value
        ],
    }
    if Right.SEE_MONEY in request.rights and found.dropped:
        money: Saved = saved(found)
        context |= {"saved": money, "left": money.left[:MOST]}
    return context


def _chained(net: Netted) -> list[Any]:
    """Return the jobs that milestones hang on, to be ticked."""
    jobs = {step.job.pk: step.job for chain in hanging(net) for step in chain.steps if step.job}
    return sorted(jobs.values(), key=lambda job: job.number)[:MOST]


def _moved_words(count: int) -> str:
    return "stays" if count == 0 else f"{days(abs(count))} {'later' if count > 0 else 'sooner'}"


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
