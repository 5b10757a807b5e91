"""Papers: their list, the tray where they wait to be sorted, and serving each file to those who may see it.

A file is shown only if one of its owners may be seen: an order (money), a place, a part, a job; what lies loose, to
those who buy. All else is not found.
"""

from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpResponse, HttpResponseNotModified
from django.shortcuts import render

from refit.boat.actions import papers as keeping
from refit.boat.actions.papers import file_of
from refit.boat.models import Paper, PaperKind
from refit.boat.pictures import HEIC, SUFFIXES
from refit.boat.refusals import Refused
from refit.pages import lists, paper_list, paper_owners, seeing, tray_sheet
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.papers import PapersForm, SortForm, kinds_of
from refit.pages.paper_owners import joined
from refit.pages.views.paper_links import how_many

# Nothing in an uploaded file may run or load, whatever it turns out to be.
SHUT = "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; sandbox"


def papers(request: Any) -> HttpResponse:
    """List the papers by number, so that any other list can refer to them."""
    rows = seeing.papers(request.member).select_related("added_by")
    listing = lists.sieved(request, paper_list.PaperSieve, rows, paper_list.KEYS)
    file = lists.exported(
        request, "Papers", paper_list.COLUMNS, listing, lambda some: paper_list.lines_of(request, some)
    )
    if file is not None:
        return file
    context = {
        "page": listing.page,
        "filter": listing.filter,
        "rows": paper_list.rows_of(request, listing.rows),
        "tray": tray_sheet.in_tray(request),
        "kinds": PaperKind.choices,
    }
    return render(request, "papers/papers.html", context)


def tray(request: Any) -> HttpResponse:
    """Snap receipts now; sort out later which order each belongs to."""
    form = PapersForm(request.POST, request.FILES) if request.method == "POST" else PapersForm()
    if request.method == "POST":

        def deed() -> Done:
            papers = _keep(request, form, in_tray=True)
            waiting = [paper for paper in papers if paper.in_tray]
            undo = at(request, "paper-sort", joined(waiting)) if waiting else ""
            return Done(at(request, "tray"), _snapped(papers, waiting), undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    context = {
        "form": form,
        "kinds": PaperKind.choices,
        "things": paper_owners.offered(request.member),
        **tray_sheet.tray_of(request.boat, request.GET.get("page")),
    }
    if form.errors:
        return refused_page(request, "papers/tray.html", context)
    return render(request, "papers/tray.html", context)


def sort(request: Any, papers: str) -> HttpResponse:
    """Put papers of the tray on an order, part, job or place, or say that they need none (none given)."""
    found = paper_owners.named(request, papers)
    form = SortForm(request.member, request.POST)
    back = at(request, "tray")

    def deed() -> Done:
        if not form.is_valid():
            raise ValidationError(form.reason, code="no_owner")
        owner, kind = form.owner, form.cleaned_data["kind"]
        if owner is None:
            for paper in found:
                keeping.leave_tray(paper)
            return Done(back, f"{how_many(found)} out of the tray.", at(request, "paper-back", papers))
        if owner.kind.right not in request.rights:
            raise PermissionDenied
        for paper in found:
            keeping.put_on(owner.kind.link, paper, **owner.link)
            if kind:
                keeping.call_it(paper, kind)
        before = f"?kind={kinds_of(found)}" if kind else ""
        undo = owner.at(request, "off", papers) + before
        return Done(back, f"{how_many(found)} on {_named(owner)}.", undo)

    return press(request, deed, back)


def _named(owner: Any) -> str:
    return f"{owner.words}, {owner.thing.supplier}" if owner.kind.name == "order" else owner.words


def back(request: Any, papers: str) -> HttpResponse:
    """Put papers that belong to nothing back into the tray."""
    found = paper_owners.named(request, papers)

    def deed() -> Done:
        for paper in found:
            if keeping.belongs(paper):
                raise Refused(f"{paper} belongs to something; take it off there first.", code="owned")
            keeping.back_to_tray(paper)
        return Done(
            at(request, "tray"), f"{how_many(found)} in the tray again.", at(request, "paper-sort", papers)
        )

    return press(request, deed, at(request, "tray"))


def paper(request: Any, number: int) -> HttpResponse:
    """Serve a paper's file; HEIC as a JPEG that every browser shows, or itself to keep (`?original`)."""
    found = _seen(request, number)
    if found.content_type == HEIC and "original" not in request.GET:
        return _shown(request, found)
    tag = f'"{found.sha256}"'
    if request.headers.get("If-None-Match") == tag:
        return _shut(HttpResponseNotModified(), tag)
    path = file_of(found)
    if not path.exists():
        raise Http404("The file is not there.")
    response = HttpResponse(path.read_bytes(), content_type=found.content_type)
    name = f"paper-{found.number}{SUFFIXES[found.content_type]}"
    how = "attachment" if found.content_type == HEIC else "inline"
    response["Content-Disposition"] = f'{how}; filename="{name}"'
    return _shut(response, tag)


def _shown(request: Any, found: Paper) -> HttpResponse:
    """Serve a large JPEG of a picture that not every browser shows."""
    tag = f'"{found.sha256}-shown"'
    if request.headers.get("If-None-Match") == tag:
        return _shut(HttpResponseNotModified(), tag)
    data = tray_sheet.shown_picture(found)
    if data is None:
        raise Http404("The file is not there.")
    response = HttpResponse(data, content_type="image/jpeg")
    response["Content-Disposition"] = f'inline; filename="paper-{found.number}.jpg"'
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
            name=form.name_of(file),
        )
        if in_tray and not one.in_tray and not keeping.belongs(one):
            keeping.back_to_tray(one)
            one.in_tray = True
        papers.append(one)
    return list(dict.fromkeys(papers))


def _snapped(papers: list[Paper], waiting: list[Paper]) -> str:
    if len(waiting) == len(papers):
        return f"{how_many(papers)} in the tray."
    known = len(papers) - len(waiting)
    first = f"{how_many(waiting)} in the tray. " if waiting else ""
    return f"{first}{known} {'was' if known == 1 else 'were'} kept already and {'has' if known == 1 else 'have'} a place."


def _seen(request: Any, number: int) -> Paper:
    """Return a paper if one of its owners may be seen, else 404."""
    found: Paper = seeing.one(seeing.papers(request.member), number=number)
    return found


def _shut(response: Any, tag: str) -> Any:
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = SHUT
    return response
