"""The secret address of a member's calendar: made, changed, taken away. A new one ends the old."""

import secrets

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.models import Member
from refit.boat.refusals import Refused
from refit.work.models import CalendarFeed

SECRET_BYTES = 32


@transaction.atomic
def make_feed(member: Member, *, instead: bool = False) -> CalendarFeed:
    """Give a member a calendar address; where there is one, only `instead` of it, which ends that."""
    lock(member.boat)
    there = CalendarFeed.objects.filter(member=member).first()
    if there is not None and not instead:
        raise Refused(
            "Your calendar has an address already; tick that the old one may end.", code="there", field="sure"
        )
    if there is not None:
        there.delete()
    secret = secrets.token_urlsafe(SECRET_BYTES)
    return CalendarFeed.objects.create(boat=member.boat, member=member, secret=secret)


@transaction.atomic
def remove_feed(member: Member) -> None:
    """Take a member's calendar address away: what follows it finds nothing any more."""
    lock(member.boat)
    gone, _ = CalendarFeed.objects.filter(member=member).delete()
    if not gone:
        raise Refused("Your calendar has no address.", code="none")
