"""Places: adding, changing, moving, retiring them, and swapping two labels. The place's own page is in lockers."""

from typing import Any

from django.core import signing
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.http import urlencode

from refit.boat import pictures
from refit.boat.actions import labels, papers, places
from refit.boat.models import Hindrance, Kind, Location, Paper, PaperKind, PlaceCaution
from refit.boat.refusals import Refused
from refit.calc.text import clean
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.places import (
    ChooseForm,
    NewPlaceForm,
    PlaceFacts,
    QuickForm,
    RetireForm,
    SwapForm,
    in_order,
    parents_of,
)
from refit.stores.actions import stow
from refit.stores.models import Entry, EntryKind, Movement

BACK = "place-change"


def new(request: Any) -> HttpResponse:
    """Add one place."""
    first = {"kind": request.GET.get("kind", Kind.LOCKER), "inside": request.GET.get("in", "").upper()}
    form = NewPlaceForm(request.boat, request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        response = act(request, form, lambda: added(request, form))
        if response:
            return response
    if form.is_bound:
        return refused_page(request, "places/new.html", {"form": form})
    return render(request, "places/new.html", {"form": form})


def added(request: Any, form: NewPlaceForm, label: Any = None) -> Done:
    """Add the place of a form, with a blank label or a new one."""
    data = form.cleaned_data
    facts = form.whereabouts if data["kind"] == Kind.AREA else {}
    place = places.add_place(
        request.boat,
        kind=data["kind"],
        parent=form.parent,
        mark=data["mark"],
        name=data["name"],
        note=data["note"],
        label=label,
        **facts,
    )
    places.set_cautions(place, form.cautions)
    said = f"Added {place}." if label is None else f"Added {place}; label {label.code} is for it."
    return Done(at(request, "locker", place.code), said, at(request, "place-retire", place.code))


def quick(request: Any) -> HttpResponse:
    """Add many lockers by a quick list, then lead to their labels."""
    form = QuickForm(request.boat, request.POST or None, initial={"area": request.GET.get("in", "").upper()})
    if request.method == "POST" and form.is_valid():
        response = act(request, form, lambda: _quickly(request, form))
        if response:
            return response
    if form.is_bound:
        return refused_page(request, "places/quick.html", {"form": form})
    return render(request, "places/quick.html", {"form": form})


def _quickly(request: Any, form: QuickForm) -> Done:
    data = form.cleaned_data
    area = form.areas.get(data["area"])
    fresh = area is None
    if area is None:
        area = places.add_place(request.boat, kind=Kind.AREA, parent=None, name=data["new_area"])
    made = places.add_places(request.boat, data["quick_list"], area)
    if not made:
        raise Refused("Write at least one locker, such as P1-P6.", code="nothing", field="quick_list")
    codes = [place.code for place in made] + ([area.code] if fresh else [])
    said = f"Added {len(made)} place{'s' if len(made) != 1 else ''} to {area}. Now print their labels."
    undo = f"{at(request, 'places-quick-undo')}?{urlencode({'codes': '.'.join(codes)})}"
    return Done(f"{at(request, 'labels')}?which=new", said, undo)


def quick_undo(request: Any) -> HttpResponse:
    """Take the places of a quick list out of use again, as long as nothing lies in them."""
    codes = request.GET.get("codes", "").split(".")[:400]
    if not all(code.isalnum() for code in codes):
        raise Http404("No such place.")
    found = {place.code: place for place in seeing.places(request.member).filter(code__in=codes)}
    if len(found) != len(codes):
        raise Http404("No such place.")

    def deed() -> Done:
        for code in codes:  # the area comes last, empty by then
            stow.retire_place(found[code], None, by=request.user, on=request.today, today=request.today)
        return Done(at(request, "lockers"), f"Taken back: {len(codes)} places are out of use.")

    return press(request, deed, at(request, "lockers"))


def change(request: Any, code: str) -> HttpResponse:
    """Change what a place is called and what is to be minded there."""
    place = seeing.place_by_code(request.member, code)
    if request.method == "POST" and BACK in request.GET:
        return press(request, lambda: _change_back(request, place), at(request, "locker", place.code))
    cautions = dict(PlaceCaution.objects.filter(location=place).values_list("kind", "words"))
    form = PlaceFacts(request.boat, request.POST or None, initial=_as_typed(place, cautions))
    if request.method == "POST" and form.is_valid():
        response = act(request, form, lambda: _changed(request, place, form, cautions))
        if response:
            return response
    context = {"form": form, "place": place, "is_area": place.kind == Kind.AREA}
    if form.is_bound:
        return refused_page(request, "places/change.html", context)
    return render(request, "places/change.html", context)


def _as_typed(place: Location, cautions: dict[str, str]) -> dict[str, Any]:
    first: dict[str, Any] = {key: getattr(place, key) for key in ("mark", "name", "note", "where")}
    first["days_away"], first["from_bow"] = place.days_away or "", place.from_bow or ""
    for kind in Hindrance.values:
        first[f"care_{kind}"], first[f"words_{kind}"] = kind in cautions, cautions.get(kind, "")
    return first


def _facts(place: Location) -> dict[str, Any]:
    kept = ("mark", "name", "note", *(("where", "days_away", "from_bow") if place.kind == Kind.AREA else ()))
    return {key: getattr(place, key) for key in kept}


def _changed(request: Any, place: Location, form: PlaceFacts, cautions: dict[str, str]) -> Done:
    before = signing.dumps(
        {"place": place.pk, "facts": _facts(place), "cautions": list(cautions.items())}, compress=True
    )
    facts = form.whereabouts if place.kind == Kind.AREA else {}
    data = form.cleaned_data
    after = places.change_place(place, mark=data["mark"], name=data["name"], note=data["note"], **facts)
    places.set_cautions(after, form.cautions)
    undo = f"{at(request, 'place-change', place.code)}?{urlencode({BACK: before})}"
    return Done(at(request, "locker", place.code), f"Changed {after}.", undo)


def _change_back(request: Any, place: Location) -> Done:
    try:
        before = signing.loads(request.GET[BACK])
    except signing.BadSignature:
        raise Http404("Nothing to undo.") from None
    if before["place"] != place.pk:
        raise Http404("Nothing to undo.")
    back = places.change_place(place, **before["facts"])
    places.set_cautions(back, [(kind, words) for kind, words in before["cautions"]])
    return Done(at(request, "locker", place.code), f"{back} is as it was.")


def photo(request: Any, code: str) -> HttpResponse:
    """Keep a photo of the place (`photo`); `?back=` gives it the earlier one, or none."""
    place = seeing.place_by_code(request.member, code)
    deed = _photo_back if "back" in request.GET else _photo_kept
    return press(request, lambda: deed(request, place), at(request, "locker", place.code))


def _photo_kept(request: Any, place: Location) -> Done:
    file = request.FILES.get("photo")
    if file is None:
        raise Refused("Take a photo first.", code="no_photo")
    if file.size > pictures.MOST_BYTES:
        raise Refused("The file is over 25 MB. Send a smaller one.", code="too_large")
    data = file.read()
    if not pictures.check(data).content_type.startswith("image/"):
        raise Refused("This is a PDF. A place wants a photo.", code="not_a_picture")
    try:
        name = clean(file.name or "")
    except ValueError:
        name = ""
    paper = papers.add_paper(request.boat, data, kind=PaperKind.PHOTO, by=request.user, name=name)
    before = place.photo.number if place.photo else 0
    places.change_place(place, mark=place.mark, name=place.name, photo=paper)
    undo = f"{at(request, 'place-photo', place.code)}?{urlencode({'back': before})}"
    return Done(at(request, "locker", place.code), f"Kept the photo of {place}.", undo)


def _photo_back(request: Any, place: Location) -> Done:
    number = request.GET["back"]
    paper = None
    if number != "0":
        known = Paper.objects.filter(boat=request.boat, kind=PaperKind.PHOTO)
        paper = seeing.one(known, number=int(number) if number.isdecimal() and len(number) < 19 else -1)
    places.change_place(place, mark=place.mark, name=place.name, photo=paper)
    return Done(at(request, "locker", place.code), f"The photo of {place} is as it was.")


def into(request: Any, code: str) -> HttpResponse:
    """Move a place with all that is in it into another."""
    place = seeing.place_by_code(request.member, code)
    choices = [other for other in parents_of(request.boat) if other.pk != place.pk]
    form = ChooseForm(request.boat, choices, request.POST or None)
    if request.method == "POST" and form.is_valid():
        response = act(request, form, lambda: _moved(request, place, form.cleaned_data["to"]))
        if response:
            return response
    context = {"form": form, "place": place, "choices": choices}
    if form.is_bound:
        return refused_page(request, "places/into.html", context)
    return render(request, "places/into.html", context)


def _moved(request: Any, place: Location, parent: Location) -> Done:
    before = place.parent
    if before is not None and before.pk == parent.pk:
        raise Refused(f"{place} is in {parent} already.", code="same_place", field="to")
    moved = places.move_place(place, parent)
    undo = at(request, "place-back-into", place.code, before.code) if before else ""
    said = f"Moved {moved.plate} with all that is in it into {parent}."
    return Done(at(request, "locker", place.code), said, undo)


def back_into(request: Any, code: str, parent: str) -> HttpResponse:
    """Move a place back to where it was (undo)."""
    place = seeing.place_by_code(request.member, code)
    target = seeing.place_by_code(request.member, parent)

    def deed() -> Done:
        places.move_place(place, target)
        return Done(at(request, "locker", place.code), f"{place.plate} is back in {target}.")

    return press(request, deed, at(request, "locker", place.code))


def retire(request: Any, code: str) -> HttpResponse:
    """Take a place out of use; its things move first."""
    place = seeing.place_by_code(request.member, code)
    form = RetireForm(request.boat, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        response = act(request, form, lambda: _retired(request, place, form.cleaned_data["contents_to"]))
        if response:
            return response
    inside = seeing.holdings(request.member).filter(place=place)
    context = {
        "form": form,
        "place": place,
        "things": list(inside.select_related("part", "lot").order_by("part__name", "id")),
        "children": in_order(list(Location.objects.in_use().filter(parent=place).by_mark())),  # type: ignore[attr-defined]
    }
    if form.is_bound:
        return refused_page(request, "places/retire.html", context)
    return render(request, "places/retire.html", context)


def _retired(request: Any, place: Location, contents_to: Location | None) -> Done:
    entry = stow.retire_place(place, contents_to, by=request.user, on=request.today, today=request.today)
    undo = at(request, "place-use-again", place.code)
    said = f"{place} is out of use."
    if entry is not None and contents_to is not None:
        undo += f"?{urlencode({'entry': entry.pk})}"
        said += f" Its things lie in {contents_to} now."
    return Done(at(request, "lockers"), said, undo)


def use_again(request: Any, code: str) -> HttpResponse:
    """Take a retired place into use again; `?entry=` moves back what was moved out when it was retired."""
    place = seeing.place_by_code(request.member, code)
    entry = _entry_out_of(request, place)

    def deed() -> Done:
        if place.retired_at is None:
            raise Refused(f"{place} is in use already.", code="in_use")
        stow.unretire_place(place, entry, by=request.user, today=request.today)
        back = " Its things are back." if entry else ""
        go = at(request, "locker", place.code)
        return Done(go, f"{place} is in use again.{back}", at(request, "place-retire", place.code))

    return press(request, deed, at(request, "locker", place.code))


def _entry_out_of(request: Any, place: Location) -> Entry | None:
    """Return the move that emptied the place, or 404: no other deed is undone from here."""
    given = request.GET.get("entry", "")
    if not given:
        return None
    moves = Entry.objects.filter(boat=request.boat, kind=EntryKind.MOVE)
    entry = seeing.one(moves, pk=int(given) if given.isdecimal() and len(given) < 19 else -1)
    if not Movement.objects.at(place).filter(entry=entry).exists():
        raise Http404("Nothing to undo.")
    return entry


def swap(request: Any) -> HttpResponse:
    """Swap the labels of two places that were stuck on the wrong way round. Swapping again undoes it."""
    sent = request.POST if "one" in request.POST else request.GET
    if request.method == "POST":
        form = SwapForm(request.boat, sent)
    else:
        form = SwapForm(request.boat, initial={key: request.GET.get(key, "") for key in ("one", "other")})
    if form.is_bound and form.is_valid():
        response = act(request, form, lambda: _swapped(request, form))
        if response:
            return response
    if form.is_bound:
        return refused_page(request, "places/swap.html", {"form": form})
    return render(request, "places/swap.html", {"form": form})


@transaction.atomic
def _swapped(request: Any, form: SwapForm) -> Done:
    one, other = form.cleaned_data["one"], form.cleaned_data["other"]
    holder = request.GET.get("holder")
    if holder is not None and holder != str(one.pk):
        raise Refused("These labels were swapped back already.", code="undone_already")
    labels.swap(one, other)
    one.refresh_from_db()
    go = at(request, "locker", one.code)
    if holder is not None:
        return Done(go, f"{one.plate} and {other.plate} have their own labels again.")
    other.refresh_from_db()
    query = urlencode({"one": one.code, "other": other.code, "holder": one.pk})
    said = f"Swapped the labels of {one.plate} and {other.plate}. Scan both to see."
    return Done(go, said, f"{at(request, 'places-swap')}?{query}")
