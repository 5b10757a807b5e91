"""What papers belong to: an order, a part, a job or a place; how each is found, named and led to.

Decides which right each asks for. The change itself is made by `boat.actions.papers`.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.http import Http404

from refit.boat.models import Member, Paper, PaperKind, PlacePaper
from refit.boat.rights import RIGHTS, Right
from refit.buying.models import OrderPaper
from refit.calc.text import fold
from refit.pages import seeing
from refit.pages.acting import at
from refit.pages.fields import find_place
from refit.stores.models import Part, PartPaper
from refit.stores.reading import parts_named
from refit.work.models import JobPaper

MOST_AT_ONCE = 20
MOST_OFFERED = 300


@dataclass(frozen=True)
class OwnerKind:
    """One kind of thing that papers belong to: the table that links them, its page, and who may put them on."""

    name: str
    link: type[models.Model]
    column: str
    page: str
    right: Right


KINDS = {
    kind.name: kind
    for kind in (
        OwnerKind("order", OrderPaper, "order", "order", Right.BUY),
        OwnerKind("part", PartPaper, "part", "part", Right.WORK),
        OwnerKind("job", JobPaper, "job", "job", Right.WORK),
        OwnerKind("place", PlacePaper, "location", "locker", Right.SET_UP),
    )
}


@dataclass(frozen=True)
class Owner:
    """A thing that papers belong to, the key that its addresses name it by, and what people call it."""

    kind: OwnerKind
    thing: Any
    key: Any
    words: str

    @property
    def link(self) -> dict[str, Any]:
        """Return the thing under the column that the linking table has for it."""
        return {self.kind.column: self.thing}

    def page(self, request: Any) -> str:
        """Return the address of its page."""
        return at(request, self.kind.page, self.key)

    def at(self, request: Any, deed: str, papers: str) -> str:
        """Return the address that puts papers on it (`on`) or takes them off (`off`)."""
        return at(request, f"{self.kind.name}-papers-{deed}", self.key, papers)


@dataclass(frozen=True)
class Kept:
    """The papers of one thing as its page shows them, and what waits in the tray for those who sort it."""

    papers: list[Paper]
    tray: list[Paper]


def owner_of(thing: Any, kind: str) -> Owner:
    """Return a thing as an owner of papers."""
    if kind == "order":
        return Owner(KINDS[kind], thing, thing.number, f"order {thing.number}")
    if kind == "job":
        return Owner(KINDS[kind], thing, thing.number, f"job {thing.number}")
    if kind == "part":
        return Owner(KINDS[kind], thing, thing.pk, thing.name)
    return Owner(KINDS[kind], thing, thing.code, str(thing))


def find(request: Any, kind: str, key: Any) -> Owner:
    """Return the owner that an address names, or 404."""
    member = request.member
    if kind == "order":
        found = seeing.one(seeing.orders(member).select_related("boat", "supplier"), number=key)
    elif kind == "part":
        found = seeing.one(seeing.parts(member).select_related("boat"), pk=key)
    elif kind == "job":
        found = seeing.one(seeing.jobs(member).select_related("boat"), number=key)
    else:
        found = seeing.place_by_code(member, key)
    return owner_of(found, kind)


def kept_of(request: Any, kind: str, thing: Any) -> Kept:
    """Return the papers of a thing, in two queries."""
    column = KINDS[kind].column
    papers = seeing.papers(request.member).filter(**{f"{kind}_papers__{column}": thing}).order_by("number")
    return Kept(list(papers), waiting(request) if kind != "place" else [])


def waiting(request: Any) -> list[Paper]:
    """Return the newest papers of the tray, for those who sort it."""
    if Right.BUY not in request.rights:
        return []
    return list(Paper.objects.filter(boat=request.boat, in_tray=True)[:12])


def named(request: Any, joined: str) -> list[Paper]:
    """Return the papers named `3-4-5`, all seen by this member, or 404."""
    words = joined.split("-")
    if len(words) > MOST_AT_ONCE or not all(
        word.isascii() and word.isdigit() and len(word) < 10 for word in words
    ):
        raise Http404("No such paper.")
    numbers = {int(word) for word in words}
    found = seeing.papers(request.member).filter(number__in=numbers).select_related("boat")
    rows = list(found.order_by("number"))
    if len(rows) != len(numbers):
        raise Http404("No such paper.")
    return rows


def joined(papers: Iterable[Paper]) -> str:
    """Return papers as addresses name them."""
    return "-".join(str(paper.number) for paper in papers)


def meant(member: Member, text: str) -> Owner:
    """Return the job, place or part that a person typed, such as `job 12`, `S3` or `Impeller`."""
    word, _, rest = text.strip().partition(" ")
    kind, name = fold(word), rest.strip()
    found = None
    if kind == "job" or text.strip().isdigit():
        number = (name if kind == "job" else text).split(",")[0].strip()
        found = _job(member, number)
    elif kind == "place" and name:
        found = _place(member, name)
    elif kind == "part" and name:
        found = _part(member, name)
    else:
        found = _place(member, text) or _part(member, text)
    if found is None:
        raise ValidationError(
            f"No job, place or part is called “{text[:60]}”. Choose one that is offered.", code="no_such"
        )
    return found


def _job(member: Member, number: str) -> Owner | None:
    if not (number.isascii() and number.isdigit() and len(number) < 10):
        return None
    job = seeing.jobs(member).filter(number=int(number)).select_related("boat").first()
    return owner_of(job, "job") if job else None


def _place(member: Member, text: str) -> Owner | None:
    places = seeing.places(member).in_use().select_related("boat")  # type: ignore[attr-defined]
    place = find_place(list(places), text)
    return owner_of(place, "place") if place else None


def _part(member: Member, text: str) -> Owner | None:
    """Return the one part of exactly this name or number."""
    hits = [part for part in parts_named(member.boat, text, most=20) if _is_called(part, text)]
    return owner_of(hits[0], "part") if len(hits) == 1 else None


def _is_called(part: Part, text: str) -> bool:
    return fold(text) in part.search.split("|")


def offered(member: Member) -> list[str]:
    """Return what may be typed as the thing that a paper belongs to: jobs, places, parts."""
    jobs = seeing.jobs(member).order_by("-number").values_list("number", "title")[:MOST_OFFERED]
    places: Any = seeing.places(member)
    parts = seeing.parts(member).filter(retired_at=None).order_by("name").values_list("name", flat=True)
    return [
        *(f"Job {number}, {title}" for number, title in jobs),
        *(f"Place {place}" for place in places.in_use().by_mark()[:MOST_OFFERED]),
        *(f"Part {name}" for name in dict.fromkeys(parts[:MOST_OFFERED])),
    ]


def owners(request: Any, papers: list[Paper]) -> dict[int, list[tuple[str, str]]]:
    """Return what each of these papers belongs to, as words and address, as far as the member may see it."""
    found: dict[int, list[tuple[str, str]]] = defaultdict(list)
    ids = [paper.pk for paper in papers]
    seen: dict[str, Any] = {
        "part": seeing.parts(request.member),
        "job": seeing.jobs(request.member),
        "place": seeing.places(request.member),
    }
    if Right.SEE_MONEY in RIGHTS[request.member.role]:
        seen = {"order": seeing.orders(request.member), **seen}
    for name, rows in seen.items():
        kind = KINDS[name]
        links: Any = kind.link._default_manager.filter(
            paper__in=ids, **{f"{kind.column}__in": rows.values("pk")}
        )
        for link in links.select_related(kind.column).order_by("pk"):
            found[link.paper_id].append(_led_to(request, name, getattr(link, kind.column), ""))
        if name in ("part", "place"):
            for thing in rows.filter(photo__in=ids).order_by("pk"):
                found[thing.photo_id].append(_led_to(request, name, thing, "photo of "))
    return found


def _led_to(request: Any, kind: str, thing: Any, before: str) -> tuple[str, str]:
    owner = owner_of(thing, kind)
    words = f"{owner.words}, {thing.title}" if kind == "job" else owner.words
    words = before + words
    return words[:1].upper() + words[1:], owner.page(request)


def kind_for(paper_type: str, owner: OwnerKind) -> str:
    """Return what a file that is put on a thing most likely is."""
    if owner.name == "order":
        return PaperKind.RECEIPT
    if paper_type != "application/pdf":
        return PaperKind.PHOTO
    return PaperKind.MANUAL if owner.name == "part" else PaperKind.OTHER
