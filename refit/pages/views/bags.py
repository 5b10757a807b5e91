"""Bag and tag, and what was taken off the boat: made on the phone, found again by its label months later."""

from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from refit.boat.actions.papers import add_paper, put_on, take_off
from refit.boat.models import Label, Paper, PaperKind, PlacePaper
from refit.boat.refusals import Refused
from refit.calc.codes import canonical, code_in
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.bag_page import jobs_to_choose
from refit.pages.forms.as_they_are import BagForm, ChangeBagForm, MorePhotosForm, OffForm
from refit.pages.forms.needs import WantForm
from refit.pages.job_page import near_choices
from refit.pages.paper_owners import joined
from refit.pages.views.needs import job_of
from refit.stores.actions import bags, needs, off
from refit.stores.models import PartPaper
from refit.work.models import Bag


def of_label(request: Any, code: str) -> HttpResponse:
    """Make a bag with the blank label that was scanned."""
    try:
        wanted = canonical(code)
    except ValueError:
        raise Http404("No such label.") from None
    label = seeing.one(Label.objects.filter(boat=request.boat).select_related("location"), code=wanted)
    if label.location is not None:
        return redirect(at(request, "locker", label.location.code))
    return _bag(request, label, {})


def of_job(request: Any, number: int) -> HttpResponse:
    """Make a bag for what is taken apart for a job; the label is typed or scanned, or made new."""
    return _bag(request, None, {"job": job_of(request, number).number})


def _bag(request: Any, label: Label | None, initial: dict[str, Any]) -> HttpResponse:
    jobs = seeing.jobs(request.member)
    sent = request.method == "POST"
    form = BagForm(
        request.boat,
        jobs,
        request.POST if sent else None,
        request.FILES if sent else None,
        initial=initial,
    )
    if sent and form.is_valid():

        def deed() -> Done:
            data = form.cleaned_data
            bag = bags.bag_up(
                data["job"],
                what=data["what"],
                note=data["note"],
                place=data["to"],
                label=label or _label(request, data["label"]),
                photos=_photos(request, data["photos"]),
                by=request.user,
                on=request.today,
                today=request.today,
            )
            said = f"{bag.what} lies in bag {bag.place.code}, in {data['to'].plate}."
            return Done(at(request, "locker", bag.place.code), said, at(request, "bag-undo", bag.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    chosen = str(form["job"].value() or "")
    context = {"form": form, "label": label, "jobs": jobs_to_choose(jobs), "chosen": chosen}
    return render(request, "bags/new.html", context, status=422 if sent else 200)


def _label(request: Any, text: str) -> Label | None:
    """Return the blank label whose code was typed or scanned; none if nothing was."""
    if not text:
        return None
    try:
        code = code_in(text) or canonical(text)
    except ValueError as problem:
        raise Refused(str(problem), code="no_label", field="label") from None
    label = Label.objects.filter(boat=request.boat, code=code).first()
    if label is None:
        raise Refused(f"There is no label {code} of this boat.", code="no_label", field="label")
    if label.location_id:
        raise Refused(f"Label {code} is in use already. Take a blank one.", code="in_use", field="label")
    return label


def _photos(request: Any, files: list[Any]) -> list[Paper]:
    papers = [add_paper(request.boat, file.read(), kind=PaperKind.PHOTO, by=request.user) for file in files]
    return list(dict.fromkeys(papers))


def photos(request: Any, bag: int) -> HttpResponse:
    """Put more photos after those of a bag."""
    found = _found(request, bag)
    form = MorePhotosForm(request.boat, request.POST, request.FILES)

    def deed() -> Done:
        if not form.is_valid():
            raise ValidationError([error for errors in form.errors.as_data().values() for error in errors])
        papers = _photos(request, form.cleaned_data["photos"])
        if not papers:
            raise ValidationError("Take a photo first, or choose some.", code="required")
        new = [paper for paper in papers if put_on(PlacePaper, paper, location=found.place)]
        undo = at(request, "bag-photos-off", bag, joined(new)) if new else ""
        many = len(new)
        return Done(_page(request, found), f"{many} photo{'s' * (many != 1)} more of {found.what}.", undo)

    return press(request, deed, _page(request, found))


def photos_off(request: Any, bag: int, papers: str) -> HttpResponse:
    """Take photos off a bag again (undo)."""
    found = _found(request, bag)
    numbers = [
        int(word) for word in papers.split("-") if word.isascii() and word.isdigit() and len(word) < 10
    ]
    rows = list(
        Paper.objects.filter(boat=request.boat, place_papers__location=found.place, number__in=numbers[:50])
    )

    if not rows:
        raise Http404("No such photos.")

    def deed() -> Done:
        for paper in rows:
            take_off(PlacePaper, paper, location=found.place)
        return Done(_page(request, found), f"Took {len(rows)} off again.")

    return press(request, deed, _page(request, found))


def together(request: Any, bag: int) -> HttpResponse:
    """Say that it is together again."""
    found = _found(request, bag)

    def deed() -> Done:
        bags.put_together(found, on=request.today)
        said = f"{found.what} is together again."
        return Done(_page(request, found), said, at(request, "bag-apart", bag))

    return press(request, deed, _page(request, found))


def apart(request: Any, bag: int) -> HttpResponse:
    """Say that it still lies in its bag (undo)."""
    found = _found(request, bag)

    def deed() -> Done:
        bags.apart_again(found)
        return Done(_page(request, found), f"{found.what} is apart still.", at(request, "bag-together", bag))

    return press(request, deed, _page(request, found))


def undo(request: Any, bag: int) -> HttpResponse:
    """Take back a bag that was just made (undo)."""
    found = _found(request, bag)

    def deed() -> Done:
        bags.unbag(found)
        return Done(at(request, "job", found.job.number), f"The bag of {found.what} is taken back.")

    return press(request, deed, _page(request, found))


def change(request: Any, bag: int) -> HttpResponse:
    """Change what is said of a bag; the undo sends what stood before in its address."""
    found = _found(request, bag)
    before = {"what": found.what, "note": found.note}
    if request.method == "GET":
        form = ChangeBagForm(request.boat, initial=before)
        return render(request, "bags/change.html", {"form": form, "bag": found})
    form = ChangeBagForm(request.boat, request.POST if "what" in request.POST else request.GET)

    def deed() -> Done:
        bags.change_bag(found, **{name: form.cleaned_data[name] for name in ("what", "note")})
        undo_at = f"{at(request, 'bag-change', bag)}?{urlencode(before)}"
        return Done(_page(request, found), "The bag is changed.", undo_at)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "bags/change.html", {"form": form, "bag": found})


def need(request: Any, bag: int) -> HttpResponse:
    """Say what must be bought before it can be put together; its job wants it."""
    found = _found(request, bag)
    form = WantForm(request.boat, request.POST)

    def deed() -> Done:
        given = form.cleaned_data
        made = needs.want_for_bag(
            found, part=given["thing"], words=given["words"], quantity=given["quantity"], on=request.today
        )
        undo_at = at(request, "need-remove", found.job.number, made.pk)
        return Done(_page(request, found), f"Job {found.job.number} wants {made}.", undo_at)

    response = act(request, form, deed) if form.is_valid() else None
    context = {"bag": found, "form": form, "choices": near_choices(request, form.choices)}
    return response or refused_page(request, "bags/need.html", context)


def taken_off(request: Any, number: int) -> HttpResponse:
    """Write down what was taken off the boat for a job, and where it went."""
    found = job_of(request, number)
    sent = request.method == "POST"
    form = OffForm(request.boat, request.POST if sent else None, request.FILES if sent else None)
    if sent and form.is_valid():

        def deed() -> Done:
            data = form.cleaned_data
            entry = off.take_off(
                found,
                part=data["thing"],
                name=data["words"],
                condition=data["condition"],
                place=data["to"],
                quantity=data["quantity"],
                serial=data["serial"],
                note=data["note"],
                by=request.user,
                on=data["on"] or request.today,
                today=request.today,
            )
            part = entry.movements.get().part
            for photo in _photos(request, data["photos"]):
                put_on(PartPaper, photo, part=part)
            return Done(at(request, "job", number), entry.said, at(request, "entry-undo", entry.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    context = {"job": found, "form": form, "choices": near_choices(request, form.choices)}
    return render(request, "jobs/off.html", context, status=422 if sent else 200)


def _found(request: Any, pk: int) -> Bag:
    rows = Bag.objects.filter(boat=request.boat, job__in=seeing.jobs(request.member).values("pk"))
    found: Bag = seeing.one(rows.select_related("job", "place", "boat"), pk=pk)
    return found


def _page(request: Any, bag: Bag) -> str:
    return at(request, "locker", bag.place.code)
