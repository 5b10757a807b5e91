"""What a member may see: everything of their boat, or (a trade) its own jobs and their parts and places.

Every look-up of a page starts here, so that what a person may not see is not found.
"""

from typing import Any

from django.db.models import Q, QuerySet
from django.http import Http404

from refit.boat.models import Label, Location, Member
from refit.boat.rights import RIGHTS, Right
from refit.buying.models import Line, Order
from refit.stores.models import Holding, Need, Part
from refit.work.models import Job


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


def place_by_code(member: Member, code: str) -> Location:
    """Return the place that a label leads to, or 404. An earlier label of the place leads there too."""
    label = Label.objects.filter(boat_id=member.boat_id, code=code.upper()).select_related("location").first()
    if label is None or label.location is None:
        raise Http404("No such place.")
    return one(places(member).select_related("area", "parent", "went_to", "photo"), pk=label.location_id)


def one(rows: "QuerySet[Any]", **look_up: Any) -> Any:
    """Return the one row, or 404. A number too large for the database is not found either."""
    for value in look_up.values():
        if isinstance(value, int) and not 0 <= value < 2**63:
            raise Http404("Not found.")
    found = rows.filter(**look_up).first()
    if found is None:
        raise Http404("Not found.")
    return found
