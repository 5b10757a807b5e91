"""Who gets to a page: the boat in the address, the member, the right that the address names.

What a person may not see answers 404, as if it were not there; what they may see but not change, 403.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseNotAllowed
from django.shortcuts import render
from django.utils import timezone

from refit.boat.clock import zone
from refit.boat.models import Boat, Member
from refit.boat.rights import RIGHTS, Right


class BoatRequest(HttpRequest):
    """A request that came through `guarded`: it knows its boat, member, rights and the boat's day."""

    boat: Boat
    member: Member
    rights: frozenset[Right]
    today: date
    user: Any
    htmx: Any


@dataclass(frozen=True)
class Address:
    """One row of the table of addresses."""

    path: str
    view: Callable[..., HttpResponseBase]
    right: Right | None  # None: no boat in the address; the view says who may
    name: str
    methods: tuple[str, ...] = ("GET", "POST")


def guarded(address: Address) -> Callable[..., HttpResponseBase]:
    """Return the view behind its guard: boat, member, right, method."""

    @wraps(address.view)
    def view(request: Any, boat: str = "", **kwargs: Any) -> HttpResponseBase:
        if address.right is not None:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            enter(request, boat)
            if address.right not in request.rights:
                raise PermissionDenied
        if any("\x00" in value for value in kwargs.values() if isinstance(value, str)):
            raise Http404("Not found.")  # no database row holds it, and one of the databases trips over it
        if request.method == "HEAD":
            request.method = "GET"
        if request.method not in address.methods:
            response = HttpResponseNotAllowed(address.methods)
            return HttpResponse(
                render(request, "405.html").content, status=405, headers={"Allow": response["Allow"]}
            )
        return address.view(request, **kwargs)

    return view


def enter(request: Any, slug: str) -> None:
    """Set the boat, member, rights and day on the request; 404 where the person is no member."""
    member = Member.objects.select_related("boat", "user").filter(boat__slug=slug, user=request.user).first()
    if member is None:
        raise Http404("No such boat.")
    request.member, request.boat = member, member.boat
    request.rights = RIGHTS[member.role]
    timezone.activate(zone(member.boat))
    request.today = timezone.localdate()
