"""What a member may see: everything of their boat, or (a trade) its own jobs and their parts and places.

Every look-up of a page starts here, so that what a person may not see is not found.
"""

from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.http import Http404

from refit.boat.models import Location, Member, Paper, PaperKind, PlacePaper
from refit.boat.rights import RIGHTS, Right
from refit.buying.models import Line, Order, OrderPaper
from refit.stores.models import Holding, Need, Part, PartPaper
from refit.work.models import Job, JobPaper


def sees_all(member: Member) -> bool:
    """Return whether the member sees every place, part and job."""
    return Right.SEE_ALL in RIGHTS[member.role]


def jobs(member: Member) -> "QuerySet[Job]":
    """Return the jobs the member may see."""
    return Job.objects.seen_by(member)


def parts(member: Member) -> "QuerySet[Part]":
    """Return the parts the member may see: for a trade, those that its jobs want or were bought."""
    found = Part.objects.filter(boat_id=member.boat_id)
    if sees_all(member):
        return found
    mine = jobs(member).values("pk")
    wanted = Need.objects.filter(job__in=mine, part__isnull=False).values("part")
    bought = Line.objects.filter(job__in=mine, part__isnull=False).values("part")
    return found.filter(Q(pk__in=wanted) | Q(pk__in=bought))


def holdings(member: Member) -> "QuerySet[Holding]":
    """Return what lies somewhere, of the parts that the member may see."""
    found = Holding.objects.there().filter(boat_id=member.boat_id)
    return found if sees_all(member) else found.filter(part__in=parts(member).values("pk"))


def places(member: Member) -> "QuerySet[Location]":
    """Return the places the member may see: for a trade, where the parts of its jobs lie or will lie."""
    found = Location.objects.filter(boat_id=member.boat_id)
    if sees_all(member):
        return found
    lying = holdings(member).values("place")
    meant = Line.objects.filter(job__in=jobs(member).values("pk"), place__isnull=False).values("place")
    return found.filter(Q(pk__in=lying) | Q(pk__in=meant))


def orders(member: Member) -> "QuerySet[Order]":
    """Return the orders of the boat; whoever gets here may see money."""
    return Order.objects.filter(boat_id=member.boat_id)


def papers(member: Member) -> "QuerySet[Paper]":
    """Return the papers the member may see: those of what they may see, and what lies loose if they buy.

    A receipt, and whatever lies on an order, shows prices: only to those who may see money.
    """
    found = Paper.objects.filter(boat_id=member.boat_id)
    rights = RIGHTS[member.role]
    here = OuterRef("pk")
    seen = (
        Q(Exists(JobPaper.objects.filter(paper=here, job__in=jobs(member).values("pk"))))
        | Q(Exists(PartPaper.objects.filter(paper=here, part__in=parts(member).values("pk"))))
        | Q(Exists(PlacePaper.objects.filter(paper=here, location__in=places(member).values("pk"))))
        | Q(Exists(parts(member).filter(photo=here)))
        | Q(Exists(places(member).filter(photo=here)))
    )
    if Right.SEE_MONEY in rights:
        seen |= on_an_order()
    else:
        seen &= ~on_an_order() & ~Q(kind=PaperKind.RECEIPT)
    return found.filter(seen | loose()) if Right.BUY in rights else found.filter(seen)


def on_an_order() -> Q:
    """Return the condition that a paper lies on an order."""
    return Q(Exists(OrderPaper.objects.filter(paper=OuterRef("pk"))))


def loose() -> Q:
    """Return the condition that a paper belongs to nothing: it lies in the tray, or was sorted out of it."""
    here = OuterRef("pk")
    links: tuple[Any, ...] = (OrderPaper, PartPaper, JobPaper, PlacePaper)
    free = ~Q(Exists(Part.objects.filter(photo=here))) & ~Q(Exists(Location.objects.filter(photo=here)))
    for link in links:
        free &= ~Q(Exists(link.objects.filter(paper=here)))
    return free


def place_by_code(member: Member, code: str) -> Location:
    """Return the place that a label leads to, or 404. An earlier label of the place leads there too."""
    found = places(member).select_related("area", "parent", "went_to", "photo")
    return one(found, labels__boat_id=member.boat_id, labels__code=code.upper())  # type: ignore[no-any-return]


def one(rows: "QuerySet[Any]", **look_up: Any) -> Any:
    """Return the one row, or 404. A number too large for the database is not found either."""
    for value in look_up.values():
        if isinstance(value, int) and not 0 <= value < 2**63:
            raise Http404("Not found.")
    found = rows.filter(**look_up).first()
    if found is None:
        raise Http404("Not found.")
    return found
