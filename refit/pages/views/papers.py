"""Papers: the tray of receipts, putting them on orders, and serving each file to those who may see it.

A file is shown only if one of its owners may be seen: an order (money), a place, a part, or the tray and what
was sorted out of it without an order (buying). All else is not found.
"""

from typing import Any

from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, HttpResponseNotModified
from django.shortcuts import render

from refit.boat.actions import papers as keeping
from refit.boat.actions.papers import file_of
from refit.boat.models import Paper, PaperKind
from refit.boat.pictures import SUFFIXES
from refit.boat.rights import Right
from refit.buying.actions import orders as buying
from refit.buying.models import OrderPaper
from refit.pages import seeing, tray_sheet
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.papers import PapersForm, SortForm

# Nothing in an uploaded file may run or load, whatever it turns out to be.
SHUT = "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; sandbox"


def attach(request: Any, number: int) -> HttpResponse:
    """Keep uploaded papers on an order."""
    order = seeing.one(seeing.orders(request.member).select_related("boat"), number=number)
    form = PapersForm(request.POST, request.FILES)
    back = at(request, "order", number)

    def deed() -> Done:
        papers = _keep(request, form, in_tray=False)
        for paper in papers:
            buying.attach_paper(order, paper)
        said = f"{_how_many(papers)} on order {number}."
        return Done(back, said, at(request, "order-papers-off", number, _joined(papers)))

    return press(request, deed, back)


def put_on(request: Any, number: int, papers: str) -> HttpResponse:
    """Put papers that are kept already on an order."""
    order = seeing.one(seeing.orders(request.member).select_related("boat"), number=number)
    found = _papers(request, papers)
    back = at(request, "order", number)

    def deed() -> Done:
        for paper in found:
            buying.attach_paper(order, paper)
        undo = at(request, "order-papers-off", number, papers)
        return Done(back, f"{_how_many(found)} on order {number}.", undo)

    return press(request, deed, back)


def take_off(request: Any, number: int, papers: str) -> HttpResponse:
    """Take papers off an order; they lie in the tray again."""
    order = seeing.one(seeing.orders(request.member), number=number)
    attached = list(
        OrderPaper.objects.filter(order=order, paper__in=_papers(request, papers)).select_related(
            "paper", "boat"
        )
    )
    back = at(request, "order", number)

    def deed() -> Done:
        if not attached:
            raise ValidationError("That paper is not on this order any more.", code="not_there")
        for row in attached:
            buying.detach_paper(row)
        undo = at(request, "order-papers-on", number, papers)
        return Done(back, f"{_how_many(attached)} off order {number}, in the tray again.", undo)

    return press(request, deed, back)


def tray(request: Any) -> HttpResponse:
    """Snap receipts now; sort out later which order each belongs to."""
    form = PapersForm(request.POST, request.FILES) if request.method == "POST" else PapersForm()
    if request.method == "POST":

        def deed() -> Done:
            papers = _keep(request, form, in_tray=True)
            waiting = [paper for paper in papers if paper.in_tray]
            undo = at(request, "paper-sort", _joined(waiting)) if waiting else ""
            return Done(at(request, "tray"), _snapped(papers, waiting), undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    context = {"form": form, **tray_sheet.tray_of(request.boat, request.GET.get("page"))}
    if form.errors:
        return refused_page(request, "papers/tray.html", context)
    return render(request, "papers/tray.html", context)


def sort(request: Any, papers: str) -> HttpResponse:
    """Put papers of the tray on an order, or say that they need none (no order given)."""
    found = _papers(request, papers)
    form = SortForm(request.boat, request.POST)
    back = at(request, "tray")

    def deed() -> Done:
        if not form.is_valid():
            raise ValidationError("Choose an order of this boat, or “Needs no order”.", code="no_order")
        order = form.cleaned_data["order"]
        for paper in found:
            if order is None:
                keeping.leave_tray(paper)
            else:
                buying.attach_paper(order, paper)
        if order is None:
            undo = at(request, "paper-back", papers)
            return Done(back, f"{_how_many(found)} out of the tray.", undo)
        undo = at(request, "order-papers-off", order.number, papers)
        return Done(back, f"{_how_many(found)} on order {order.number}, {order.supplier}.", undo)

    return press(request, deed, back)


def back(request: Any, papers: str) -> HttpResponse:
    """Put papers back into the tray."""
    found = _papers(request, papers)

    def deed() -> Done:
        for paper in found:
            keeping.back_to_tray(paper)
        return Done(
            at(request, "tray"), f"{_how_many(found)} in the tray again.", at(request, "paper-sort", papers)
        )

    return press(request, deed, at(request, "tray"))


def paper(request: Any, number: int) -> HttpResponse:
    """Serve a paper's own file."""
    found = _seen(request, number)
    tag = f'"{found.sha256}"'
    if request.headers.get("If-None-Match") == tag:
        return _shut(HttpResponseNotModified(), tag)
    path = file_of(found)
    if not path.exists():
        raise Http404("The file is not there.")
    response = HttpResponse(path.read_bytes(), content_type=found.content_type)
    name = f"paper-{found.number}{SUFFIXES[found.content_type]}"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return _shut(response, tag)


def small(request: Any, number: int) -> HttpResponse:
    """Serve a small picture of a paper, made the first time that it is asked for."""
    found = _seen(request, number)
    tag = f'"{found.sha256}-small"'
    if request.headers.get("If-None-Match") == tag:
        return _shut(HttpResponseNotModified(), tag)
    if found.content_type == "application/pdf":
        return _shut(render(request, "papers/pdf.svg", content_type="image/svg+xml"), tag)
    data = tray_sheet.small_picture(found)
    if data is None:
        raise Http404("The file is not there.")
    return _shut(HttpResponse(data, content_type="image/jpeg"), tag)


def _keep(request: Any, form: PapersForm, *, in_tray: bool) -> list[Paper]:
    """Keep every file of the form, or none; a receipt snapped again goes back into the tray unless it is sorted."""
    if not form.is_valid():
        raise ValidationError([error for errors in form.errors.as_data().values() for error in errors])
    papers = []
    for file in form.cleaned_data["papers"]:
        one = keeping.add_paper(
            request.boat,
            file.read(),
            kind=PaperKind.RECEIPT,
            by=request.user,
            in_tray=in_tray,
            name=file.name,
        )
        if in_tray and not one.in_tray and not tray_sheet.is_owned(one):
            keeping.back_to_tray(one)
            one.in_tray = True
        papers.append(one)
    return list(dict.fromkeys(papers))


def _snapped(papers: list[Paper], waiting: list[Paper]) -> str:
    if len(waiting) == len(papers):
        return f"{_how_many(papers)} in the tray."
    known = len(papers) - len(waiting)
    first = f"{_how_many(waiting)} in the tray. " if waiting else ""
    return f"{first}{known} {'was' if known == 1 else 'were'} kept already and {'has' if known == 1 else 'have'} a place."


def _how_many(papers: list[Any]) -> str:
    return "1 paper" if len(papers) == 1 else f"{len(papers)} papers"


def _joined(papers: list[Paper]) -> str:
    return "-".join(str(paper.number) for paper in papers)


def _papers(request: Any, joined: str) -> list[Paper]:
    """Return the papers named `3-4-5`, all of this boat, or 404."""
    words = joined.split("-")
    if len(words) > 20 or not all(word.isascii() and word.isdigit() and len(word) < 10 for word in words):
        raise Http404("No such paper.")
    numbers = {int(word) for word in words}
    receipts = Paper.objects.filter(boat=request.boat, number__in=numbers, kind=PaperKind.RECEIPT)
    found = list(receipts.order_by("number"))
    if len(found) != len(numbers):
        raise Http404("No such paper.")
    return found


def _seen(request: Any, number: int) -> Paper:
    """Return a paper if one of its owners may be seen, else 404."""
    found: Paper = seeing.one(Paper.objects.filter(boat=request.boat), number=number)
    rights = request.rights
    if Right.SEE_MONEY in rights and OrderPaper.objects.filter(paper=found).exists():
        return found
    if seeing.places(request.member).filter(photo=found).exists():
        return found
    if seeing.parts(request.member).filter(photo=found).exists():
        return found
    sorted_out = found.kind == PaperKind.RECEIPT and not tray_sheet.is_owned(found)
    if Right.BUY in rights and (found.in_tray or sorted_out):
        return found
    raise Http404("No such paper.")


def _shut(response: Any, tag: str) -> Any:
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = SHUT
    return response
