"""Things as they are: pieces cut, kits opened or incomplete, what is in a kit, what goes with a part, conditions."""

from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.shortcuts import render

from refit.boat.models import Location
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.contents import wishes
from refit.pages.forms.as_they_are import ConditionForm, CutForm, IncompleteForm, OpenForm
from refit.pages.forms.needs import CompanionForm, ThingForm
from refit.pages.job_page import near_choices
from refit.stores import reading
from refit.stores.actions import kits, needs, pieces, stow
from refit.stores.models import Companion, Holding, KitContent, Lot, Part


def cut(request: Any, code: str, holding: int) -> HttpResponse:
    """Cut some off a piece: for a job, just used, or kept as a piece somewhere."""
    place, held = _held(request, code, holding)
    if not pieces.is_piece(held):
        raise Http404("Only a piece is cut.")
    form = CutForm(request.boat, seeing.jobs(request.member), _sent(request), initial={"to": place})
    if form.is_valid():
        data = form.cleaned_data

        def deed() -> Done:
            who = _who(request, data)
            if data["then"] == "keep":
                entry = pieces.cut_and_keep(held, data["quantity"], data["to"], agreed=data["agreed"], **who)
            else:
                entry = stow.take(held, data["quantity"], job=data["job"], agreed=data["agreed"], **who)
            return _done(request, place, entry)

        response = act(request, form, deed)
        if response is not None:
            return response
    context = {
        "place": place,
        "held": held,
        "form": form,
        "kept": form.has_error("agreed", "kept_for"),
        "wishes": wishes(request.member, [held.part_id]).get(held.part_id, []),
    }
    return render(request, "stow/cut.html", context, status=422 if form.is_bound else 200)


def open_kit(request: Any, code: str, holding: int) -> HttpResponse:
    """Open one kit: what is in it goes into a place."""
    place, held = _held(request, code, holding)
    contents = list(KitContent.objects.filter(kit=held.part).select_related("part"))
    if not contents:
        raise Http404("No kit.")
    form = OpenForm(request.boat, _sent(request), initial={"to": place})
    if form.is_valid():
        data = form.cleaned_data
        response = act(
            request,
            form,
            lambda: _done(
                request,
                place,
                kits.open_kit(held, data["to"], agreed=data["agreed"], **_who(request, data)),
            ),
        )
        if response is not None:
            return response
    context = {
        "place": place,
        "held": held,
        "contents": contents,
        "form": form,
        "short": IncompleteForm(request.boat),
        "kept": form.has_error("agreed", "kept_for"),
    }
    return render(request, "stow/open_kit.html", context, status=422 if form.is_bound else 200)


def incomplete(request: Any, code: str, holding: int) -> HttpResponse:
    """Say that one kit lacks something."""
    place, held = _held(request, code, holding)
    form = IncompleteForm(request.boat, request.POST)
    if form.is_valid():
        data = form.cleaned_data
        response = act(
            request,
            form,
            lambda: _done(request, place, kits.mark_incomplete(held, data["missing"], **_who(request, data))),
        )
        if response is not None:
            return response
    contents = list(KitContent.objects.filter(kit=held.part).select_related("part"))
    context = {
        "place": place,
        "held": held,
        "contents": contents,
        "form": OpenForm(request.boat, initial={"to": place}),
        "short": form,
    }
    return refused_page(request, "stow/open_kit.html", context)


def condition(request: Any, lot: int) -> HttpResponse:
    """Say what state a numbered thing is in now; the undo sends what it was in its address."""
    rows = Lot.objects.filter(boat=request.boat, part__in=seeing.parts(request.member).values("pk"))
    found: Lot = seeing.one(rows.select_related("part", "boat"), pk=lot)
    form = ConditionForm(request.boat, request.POST if "condition" in request.POST else request.GET)
    back = at(request, "part", found.part_id)
    before = {"condition": found.condition, "note": found.note}

    def deed() -> Done:
        if not form.is_valid():
            raise form.errors.as_data()[next(iter(form.errors))][0]
        data = form.cleaned_data
        given = "note" in request.POST or "note" in request.GET
        changed = kits.set_condition(found, data["condition"], data["note"] if given else None)
        said = f"{found.part} no. {found.number} is {changed.get_condition_display().lower()}."
        undo = f"{at(request, 'lot-condition', lot)}?{urlencode(before)}" if before["condition"] else ""
        return Done(back, said, undo)

    return press(request, deed, back)


def companion_add(request: Any, pk: int) -> HttpResponse:
    """Say what a part needs with it; the undo of taking it off sends it in its address."""
    found = _part(request, pk)
    form = CompanionForm(request.boat, request.POST if "quantity" in request.POST else request.GET)

    def deed() -> Done:
        given = form.cleaned_data
        row = needs.add_companion(
            found,
            other=given["thing"],
            words=given["words"],
            quantity=given["quantity"],
            is_tool=given["is_tool"],
        )
        undo = at(request, "companion-remove", found.pk, row.pk)
        return Done(f"{at(request, 'part', found.pk)}#with", f"{row} goes with {found}.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, found, form, "goes with", "companion-add", "with_form")


def companion_remove(request: Any, pk: int, companion: int) -> HttpResponse:
    """Say that a part does not need that with it."""
    found = _part(request, pk)
    row = seeing.one(Companion.objects.filter(part=found).select_related("other", "boat"), pk=companion)
    again = {"words": str(row), "part": row.other_id or "", "quantity": row.quantity, "as_words": "1"}
    if row.is_tool:
        again["is_tool"] = "on"

    def deed() -> Done:
        needs.remove_companion(row)
        undo = f"{at(request, 'companion-add', found.pk)}?{urlencode(again)}"
        return Done(f"{at(request, 'part', found.pk)}#with", f"{row} does not go with {found}.", undo)

    return press(request, deed, at(request, "part", found.pk))


def content_add(request: Any, pk: int) -> HttpResponse:
    """Say that a kit holds so many of a part."""
    found = _part(request, pk)
    form = ThingForm(request.boat, request.POST if "quantity" in request.POST else request.GET)

    def deed() -> Done:
        given = form.cleaned_data
        if given["thing"] is None:
            form.add_error("words", "A kit holds parts. Make it a part first.")
            raise form.errors.as_data()["words"][0]
        row = kits.put_in_kit(found, given["thing"], given["quantity"])
        undo = at(request, "content-remove", found.pk, row.pk)
        return Done(f"{at(request, 'part', found.pk)}#kit", f"{row.part} is in {found}.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, found, form, "is in", "content-add", "kit_form")


def content_remove(request: Any, pk: int, content: int) -> HttpResponse:
    """Say that a kit does not hold that."""
    found = _part(request, pk)
    row = seeing.one(KitContent.objects.filter(kit=found).select_related("part", "boat"), pk=content)
    again = {"words": row.part.name, "part": row.part_id, "quantity": row.quantity}

    def deed() -> Done:
        kits.take_out_of_kit(row)
        undo = f"{at(request, 'content-add', found.pk)}?{urlencode(again)}"
        return Done(f"{at(request, 'part', found.pk)}#kit", f"{row.part} is not in {found}.", undo)

    return press(request, deed, at(request, "part", found.pk))


def _refused(request: Any, part: Part, form: Any, verb: str, go: str, name: str) -> HttpResponse:
    context = {
        "part": part,
        "form": form,
        "kit": name == "kit_form",
        "go": at(request, go, part.pk),
        "choices": near_choices(request, form.choices),
    }
    return refused_page(request, "parts/thing.html", context)


def _part(request: Any, pk: int) -> Part:
    found: Part = seeing.one(seeing.parts(request.member).select_related("boat"), pk=pk)
    return found


def _held(request: Any, code: str, pk: int) -> tuple[Location, Holding]:
    """Return the place of the page, and a holding in it or in a box in it; 404 for any other."""
    place = seeing.place_by_code(request.member, code)
    here = [place.pk, *(spot.pk for spot in reading.inside(place))]
    rows = Holding.objects.filter(boat=request.boat, place__in=here, quantity__gt=Decimal(0))
    return place, seeing.one(rows.select_related("part", "lot", "place", "boat"), pk=pk)


def _who(request: Any, data: dict[str, Any]) -> dict[str, Any]:
    return {"by": request.user, "on": data.get("on") or request.today, "today": request.today}


def _done(request: Any, place: Location, entry: Any) -> Done:
    return Done(at(request, "locker", place.code), entry.said, at(request, "entry-undo", entry.pk))


def _sent(request: Any) -> Any:
    return request.POST if request.method == "POST" else None
