"""The calendar that phones follow: the page for its secret address, and the calendar behind it."""

import hmac
from typing import Any

from django import forms
from django.http import HttpResponse, HttpResponseNotFound
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from refit.boat.rights import Right
from refit.carry.calendar import boat_calendar
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.fields import BoatForm
from refit.work.actions.feeds import make_feed, remove_feed
from refit.work.models import CalendarFeed

PAGE = "plan/calendar.html"


class FeedForm(BoatForm):
    """Make, change or take away the address; the latter two end the old one, which must be ticked."""

    do = forms.ChoiceField(choices=[(word, word) for word in ("make", "change", "remove")])
    sure = forms.BooleanField(
        label="The old address may end: phones that follow it then find nothing. This cannot be undone.",
        required=False,
    )

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if found.get("do") in ("change", "remove") and not found.get("sure"):
            self.add_error("sure", "Tick that the old address may end.")
        return found


def calendar(request: Any) -> HttpResponse:
    """Show the address of one's calendar; make, change or take it away."""
    if request.method == "GET":
        return render(request, PAGE, _context(request, FeedForm(request.boat)))
    form = FeedForm(request.boat, request.POST)

    def deed() -> Done:
        if form.cleaned_data["do"] == "remove":
            remove_feed(request.member)
            return Done(
                at(request, "calendar"), "The address is gone; what followed it finds nothing any more."
            )
        make_feed(request.member, instead=form.cleaned_data["do"] == "change")
        return Done(at(request, "calendar"), "Your calendar has its address.")

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, PAGE, _context(request, form))


def feed(request: Any, secret: str) -> HttpResponse:
    """Give the calendar to who knows its address; nobody is asked to sign in, nothing is kept."""
    slug = request.resolver_match.kwargs["boat"]
    found = None
    feeds = CalendarFeed.objects.filter(boat__slug=slug).select_related("member__boat", "member__user")
    for row in feeds:  # all are compared, in the same time whatever matches
        if hmac.compare_digest(row.secret.encode(), secret.encode("utf-8", "replace")):
            found = row
    if found is None or not found.member.user.is_active:
        return HttpResponseNotFound("No such calendar.", content_type="text/plain")  # no page, so no cookie
    content = boat_calendar(found.member, _link(request, slug), timezone.now())
    response = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = f'inline; filename="{slug}.ics"'
    response["Cache-Control"] = "no-store, private"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response


def _link(request: Any, slug: str) -> Any:
    def link(name: str, *args: Any) -> str:
        return str(request.build_absolute_uri(reverse(f"pages:{name}", args=[slug, *args])))

    return link


def _context(request: Any, form: FeedForm) -> dict[str, Any]:
    found = CalendarFeed.objects.filter(member=request.member).first()
    context: dict[str, Any] = {"form": form, "feed": found, "sees_all": Right.SEE_ALL in request.rights}
    if found is not None:
        address = request.build_absolute_uri(
            reverse("pages:calendar-feed", args=[request.boat.slug, found.secret])
        )
        context |= {"address": address, "follow": f"webcal:{address.partition(':')[2]}"}
    return context
