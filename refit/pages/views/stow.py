"""Standing at a locker: take, put in, move, put away, count, and say what is not as written down."""

import json
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from refit.boat.models import Kind, Location
from refit.calc.problems import Problem
from refit.calc.text import clean
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press
from refit.pages.contents import Row, lying, wishes
from refit.pages.forms.stow import (
    CorrectForm,
    CountForm,
    MoveForm,
    NewPartForm,
    PickForm,
    PutInForm,
    TakeForm,
)
from refit.stores import reading
from refit.stores.actions import parts as part_actions
from refit.stores.actions import stow
from refit.stores.amounts import amount
from refit.stores.models import Entry, Holding, Kept, Level, NumberKind, Part, Reason
from refit.work.models import State

MOST_JOBS = 60


def take(request: Any, code: str, holding: int) -> HttpResponse:
    """Take some of what lies here, for a job or just used."""
    place, held = _held(request, code, holding)
    if request.POST.get("job") == "choose":
        asked = urlencode({"quantity": request.POST.get("quantity", "")[:20]})
        return redirect(f"{at(request, 'take', place.code, held.pk)}?{asked}")
    form = TakeForm(request.boat, held.part, seeing.jobs(request.member), _sent(request))
    if form.is_valid():
        response = act(request, form, lambda: _taken(request, place, held, form.cleaned_data))
        if response is not None:
            return response
    return _take_page(request, place, held, form)


def _taken(request: Any, place: Location, held: Holding, data: dict[str, Any]) -> Done:
    quantity = data.get("quantity") or held.quantity
    return _done(
        request,
        place,
        stow.take(held, quantity, job=data["job"], agreed=data["agreed"], **_day(request, data)),
    )


def _take_page(request: Any, place: Location, held: Holding, form: TakeForm) -> HttpResponse:
    """Show the form by itself, every open job a button; after "there is not so much", how to put it right."""
    row = Row(held, wishes=wishes(request.member, [held.part_id]).get(held.part_id, []))
    wanting = {wish.job.pk for wish in row.wishes}
    jobs = seeing.jobs(request.member).open().exclude(pk__in=wanting).order_by("-number")[:MOST_JOBS]  # type: ignore[attr-defined]
    in_hand_first = sorted(jobs, key=lambda job: job.state != State.IN_HAND)
    short = form.has_error("quantity", "more_than_there") or form.has_error("__all__", "more_than_there")
    context = {
        "place": place,
        "row": row,
        "form": form,
        "jobs": in_hand_first,
        "short": short,
        "kept": form.has_error("agreed", "kept_for"),
        "start": form.data.get("quantity") or request.GET.get("quantity", "")[:20] or row.start,
    }
    return render(request, "stow/take.html", context, status=422 if form.is_bound else 200)


def correct(request: Any, code: str, holding: int) -> HttpResponse:
    """There were more than written down: say how many there were, and take some of them."""
    place, held = _held(request, code, holding)
    form = CorrectForm(request.boat, held.part, seeing.jobs(request.member), _sent(request))
    if held.part.kept != Kept.COUNTED:
        raise Http404("What is not counted is not corrected.")
    if form.is_valid():
        data = form.cleaned_data
        response = act(
            request,
            form,
            lambda: _done(
                request,
                place,
                stow.correct_and_take(
                    held,
                    data["there"],
                    data["quantity"],
                    job=data["job"],
                    agreed=data["agreed"],
                    **_day(request, data),
                ),
            ),
        )
        if response is not None:
            return response
    kept = form.has_error("agreed", "kept_for")
    context = {"place": place, "row": Row(held), "form": form, "kept": kept}
    return render(request, "stow/correct.html", context, status=422 if form.is_bound else 200)


def not_there(request: Any, code: str, holding: int) -> HttpResponse:
    """Say that a thing isn't where it is written down: it counts to nil and stands on the Missing list."""
    place, held = _held(request, code, holding)
    return press(
        request,
        lambda: _done(request, place, stow.not_there(held, **_day(request, {}))),
        at(request, "locker", place.code),
    )


def level(request: Any, code: str, holding: int) -> HttpResponse:
    """Say of what is kept by level that it is fine, low or gone."""
    place, held = _held(request, code, holding)
    said = request.POST.get("level", "")
    if said not in (Level.FINE, Level.LOW, Level.GONE, Level.HERE):
        said = Level.NONE
    return press(
        request,
        lambda: _done(
            request, place, stow.say_level(held.part, held.place, said, lot=held.lot, **_day(request, {}))
        ),
        at(request, "locker", place.code),
    )


def put_in(request: Any, code: str) -> HttpResponse:
    """Put in a part: find it by two letters or a number, or make a new one."""
    place = seeing.place_by_code(request.member, code)
    if not place.holds_things:
        return _holds_nothing(request, place)
    part = _part_asked_for(request)
    new = "new" in request.GET or "name" in request.POST
    if part is None and not new:
        return _part_to_find(request, place)
    form: PutInForm
    if part is None:
        start = {"name": request.GET.get("new", "")[:120]}
        form = NewPartForm(request.boat, _sent(request), initial=start)
    else:
        form = PutInForm(
            request.boat, part, _sent(request), initial={"quantity": Row(Holding(part=part)).start}
        )
    if form.is_valid():
        response = act(request, form, lambda: _put(request, place, part, form.cleaned_data))
        if response is not None:
            return response
    context = {"place": place, "part": part, "form": form}
    return render(request, "stow/put_in.html", context, status=422 if form.is_bound else 200)


def _put(request: Any, place: Location, part: Part | None, data: dict[str, Any]) -> Done:
    if part is None:
        numbers = [(NumberKind.MAKER, data["number"], "")] if data["number"] else []
        part = part_actions.add_part(
            request.boat, name=data["name"], numbers=numbers, unit=data["unit"], kept=data["kept"]
        )
    entry = stow.put_in(
        part,
        place,
        data.get("quantity") or Decimal(0),
        serial=data["serial"],
        expires_on=data["expires_on"],
        pieces=int(data.get("pieces") or 1),
        **_day(request, data),
    )
    done = _done(request, place, entry)
    if request.POST.get("then") == "another":
        return Done(at(request, "put-in", place.code), done.said, done.undo)
    return done


def _part_to_find(request: Any, place: Location) -> HttpResponse:
    """Show the search; as a fragment while one types (`pick` asks for buttons that fill a line of a count)."""
    text = _typed(request)
    found = reading.parts_named(request.boat, text)
    usual: list[Part] = []
    if not text and not request.htmx:
        kept_here = Part.objects.in_use().filter(boat=request.boat)
        here = kept_here.filter(holdings__place=place) | kept_here.filter(usual_place=place)
        usual = list(here.distinct().order_by("name", "id")[:12])
    where = reading.whereabouts(request.boat, [part.pk for part in [*found, *usual]], request.today)
    context = {
        "place": place,
        "text": text,
        "found": [_choice(part, where[part.pk]) for part in found],
        "usual": [_choice(part, where[part.pk]) for part in usual],
        "pick": "pick" in request.GET,
    }
    fragment = "stow/_picks.html" if context["pick"] else "stow/_found.html"
    status = 422 if request.method == "POST" else 200
    return render(request, fragment if request.htmx else "stow/find.html", context, status=status)


def _choice(part: Part, where: reading.Whereabouts) -> dict[str, Any]:
    filled = json.dumps({"part": str(part.pk), "words": part.name})
    return {"part": part, "lies": where.holdings[:3], "json": filled}


def move(request: Any, code: str) -> HttpResponse:
    """Move things that are ticked (or all) from here and its boxes to another place."""
    place = seeing.place_by_code(request.member, code)
    form = MoveForm(request.boat, _movable(request, place), _sent(request), _files(request))
    if form.is_valid():
        response = act(request, form, lambda: _moved(request, place, form))
        if response is not None:
            return response
    return _move_page(request, place, form)


def not_stowed(request: Any) -> HttpResponse:
    """Show what waits to be put away, to tick and send to one place."""
    place = seeing.one(seeing.places(request.member), kind=Kind.UNSTOWED)
    return _move_page(request, place, MoveForm(request.boat, _movable(request, place)))


def _move_page(request: Any, place: Location, form: MoveForm) -> HttpResponse:
    context = {"place": place, "form": form, "unstowed": place.kind == Kind.UNSTOWED}
    return render(request, "stow/move.html", context, status=422 if form.is_bound else 200)


def _moved(request: Any, place: Location, form: MoveForm) -> Done:
    to = form.cleaned_data["to"]
    entry = stow.move_things(form.items, to, **_day(request, form.cleaned_data))
    if place.kind != Kind.UNSTOWED:
        return _done(request, place, entry)
    if _movable(request, place):
        return _done(request, place, entry, at(request, "not-stowed"))
    return _done(request, to, entry)


def put_away(request: Any, code: str) -> HttpResponse:
    """Put things from Not stowed yet away into this place."""
    place = seeing.place_by_code(request.member, code)
    if not place.holds_things or place.kind == Kind.UNSTOWED:
        return _holds_nothing(request, place)
    waiting = seeing.one(seeing.places(request.member), kind=Kind.UNSTOWED)
    form = PickForm(request.boat, _movable(request, waiting), _sent(request))
    if form.is_valid():
        response = act(
            request,
            form,
            lambda: _done(
                request, place, stow.move_things(form.items, place, **_day(request, form.cleaned_data))
            ),
        )
        if response is not None:
            return response
    context = {"place": place, "form": form}
    return render(request, "stow/put_away.html", context, status=422 if form.is_bound else 200)


def count(request: Any, code: str) -> HttpResponse:
    """Walk through what is down for a place and type what is there."""
    place = seeing.place_by_code(request.member, code)
    if not place.holds_things:
        return _holds_nothing(request, place)
    form = CountForm(request.boat, list(lying(request.member, [place])), _sent(request))
    if form.is_valid():
        response = act(request, form, lambda: _counted(request, place, form))
        if response is not None:
            return response
    context = {"place": place, "form": form, "inside": reading.inside(place)}
    return render(request, "stow/count.html", context, status=422 if form.is_bound else 200)


def _counted(request: Any, place: Location, form: CountForm) -> Done:
    entry, _ = stow.count(place, form.found, **_day(request, form.cleaned_data))
    words = []
    for change in entry.movements.select_related("part").order_by("id"):
        if change.reason == Reason.LEVEL:
            words.append(f"{change.part.name} is {change.level_after}")
        else:
            more = "more" if change.reason == Reason.FOUND else "fewer"
            words.append(f"{change.part.name} {amount(change.part, change.quantity)} {more}")
    done = _done(request, place, entry)
    return Done(done.go, f"{done.said} {'; '.join(words[:12])}{'.' if words else ''}".strip(), done.undo)


# What the deeds share.


def _held(request: Any, code: str, pk: int) -> tuple[Location, Holding]:
    """Return the place of the page, and a holding in it or in a box in it; 404 for any other."""
    place = seeing.place_by_code(request.member, code)
    here = [place.pk, *(spot.pk for spot in reading.inside(place))]
    rows = Holding.objects.filter(boat=request.boat, place__in=here).select_related(
        "part", "lot", "place", "boat"
    )
    return place, seeing.one(rows, pk=pk)


def _movable(request: Any, place: Location) -> list[Holding]:
    """Return what can be moved from a place and its boxes, each with the place it lies in."""
    spots = {spot.pk: spot for spot in [place, *reading.inside(place)]}
    held = [holding for holding in lying(request.member, spots.values()) if holding.level != Level.GONE]
    for holding in held:
        holding.place = spots[holding.place_id]
    order = list(spots)
    return sorted(held, key=lambda holding: order.index(holding.place_id))


def _part_asked_for(request: Any) -> Part | None:
    pk = request.POST.get("part") or request.GET.get("part") or ""
    if not pk:
        return None
    if not (pk.isascii() and pk.isdigit()):
        raise Http404("No such part.")
    return seeing.one(seeing.parts(request.member).filter(retired_at=None), pk=int(pk))


def _typed(request: Any) -> str:
    """Return what was typed into a search box: `q`, or a line's own box of a count."""
    lines = [value for name, value in request.GET.items() if name.endswith("-words")]
    text = request.GET.get("q") or (lines[0] if lines else "")
    try:
        return clean(text[:100])
    except Problem:
        return ""


def _day(request: Any, data: dict[str, Any]) -> dict[str, Any]:
    return {"by": request.user, "on": data.get("on") or request.today, "today": request.today}


def _done(request: Any, place: Location, entry: Entry, go: str = "") -> Done:
    return Done(go or at(request, "locker", place.code), entry.said, at(request, "entry-undo", entry.pk))


def _sent(request: Any) -> Any:
    return request.POST if request.method == "POST" else None


def _files(request: Any) -> Any:
    return request.FILES if request.method == "POST" else None


def _holds_nothing(request: Any, place: Location) -> HttpResponse:
    why = "is no longer in use" if place.retired_at else "is not a place to put things in"
    messages.error(request, f"{place} {why}; choose a locker, box or bag.")
    return redirect(at(request, "locker", place.code))
