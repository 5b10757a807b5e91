"""Putting papers on an order, a part, a job or a place, and taking them off; saying what kind a paper is.

One view serves all four: `pages.paper_owners` knows how each is found and which right it asks for.
"""

from collections.abc import Callable
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpResponse

from refit.boat.actions import papers as keeping
from refit.boat.models import Paper, PaperKind
from refit.boat.pictures import check
from refit.pages import paper_owners, seeing
from refit.pages.acting import Done, at, press
from refit.pages.forms.papers import PapersForm, numbers_typed
from refit.pages.paper_owners import Owner, joined

View = Callable[..., HttpResponse]
WORDS = {kind.value: kind.label.lower() for kind in PaperKind}


def attach(kind: str) -> View:
    """Return the view that keeps uploaded papers on a thing, or puts on it those whose numbers are typed."""

    def view(request: Any, **where: Any) -> HttpResponse:
        owner = paper_owners.find(request, kind, *where.values())
        typed = request.POST.get("numbers", "")
        if typed and not request.FILES:
            return press(request, lambda: _by_number(request, owner, typed), owner.page(request))
        form = PapersForm(request.POST, request.FILES)
        return press(request, lambda: _uploaded(request, owner, form), owner.page(request))

    return view


def put_on(kind: str) -> View:
    """Return the view that puts papers on a thing that are kept already."""

    def view(request: Any, papers: str, **where: Any) -> HttpResponse:
        owner = paper_owners.find(request, kind, *where.values())
        found = paper_owners.named(request, papers)
        return press(request, lambda: _put_on(request, owner, found), owner.page(request))

    return view


def take_off(kind: str) -> View:
    """Return the view that takes papers off a thing; `?kind=` gives them the kind that they had before (undo)."""

    def view(request: Any, papers: str, **where: Any) -> HttpResponse:
        owner = paper_owners.find(request, kind, *where.values())
        found = paper_owners.named(request, papers)
        before = request.GET.get("kind", "")

        def deed() -> Done:
            for paper in found:
                keeping.take_off(owner.kind.link, paper, **owner.link)
                if before in PaperKind.values:
                    keeping.call_it(paper, before)
            rest = _in_tray(found)
            said = f"{how_many(found)} off {owner.words}{', in the tray again' if rest else ''}."
            return Done(owner.page(request), said, owner.at(request, "on", papers))

        return press(request, deed, owner.page(request))

    return view


def call_it(request: Any, number: int) -> HttpResponse:
    """Say what kind a paper is; a button's form sends `kind`, the undo carries it in the address."""
    paper = seeing.one(seeing.papers(request.member).select_related("boat"), number=number)
    kind = request.POST.get("kind") or request.GET.get("kind", "")
    back = at(request, "papers")

    def deed() -> Done:
        if kind not in PaperKind.values:
            raise ValidationError("Choose what it is: a photo, a receipt, a manual.", code="no_kind")
        keeping.call_it(paper, kind)
        undo = f"{at(request, 'paper-kind', number)}?kind={paper.kind}"
        return Done(back, f"Paper {number} is down as {WORDS[kind]}.", undo)

    return press(request, deed, back)


def how_many(papers: list[Paper]) -> str:
    """Return how many papers, as people say it; one by its number."""
    return f"Paper {papers[0].number}" if len(papers) == 1 else f"{len(papers)} papers"


def _put_on(request: Any, owner: Owner, papers: list[Paper]) -> Done:
    for paper in papers:
        keeping.put_on(owner.kind.link, paper, **owner.link)
    return Done(
        owner.page(request),
        f"{how_many(papers)} on {owner.words}.",
        owner.at(request, "off", joined(papers)),
    )


def _by_number(request: Any, owner: Owner, typed: str) -> Done:
    numbers = numbers_typed(typed)
    found = list(
        seeing.papers(request.member)
        .filter(number__in=numbers)
        .select_related("boat")
        .order_by("number")[: paper_owners.MOST_AT_ONCE]
    )
    missing = numbers - {paper.number for paper in found}
    if missing:
        raise ValidationError(f"There is no paper {min(missing)}.", code="no_paper")
    return _put_on(request, owner, found)


def _uploaded(request: Any, owner: Owner, form: PapersForm) -> Done:
    """Keep every file of the form on the thing, or none."""
    if not form.is_valid():
        raise ValidationError([error for errors in form.errors.as_data().values() for error in errors])
    papers = []
    for file in form.cleaned_data["papers"]:
        data = file.read()
        kind = form.cleaned_data["kind"] or paper_owners.kind_for(check(data).content_type, owner.kind)
        one = keeping.add_paper(request.boat, data, kind=kind, by=request.user, name=form.name_of(file))
        if form.cleaned_data["kind"]:
            keeping.call_it(one, kind)  # the same file may be kept already, as something else
        papers.append(one)
    return _put_on(request, owner, list(dict.fromkeys(papers)))


def _in_tray(papers: list[Paper]) -> bool:
    return Paper.objects.filter(pk__in=[paper.pk for paper in papers], in_tray=True).exists()
