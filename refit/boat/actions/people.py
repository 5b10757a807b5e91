"""People who sign in: making one, with a place on a boat."""

from django.contrib.auth.models import User
from django.db import transaction

from refit.boat.actions.boats import add_member, lock
from refit.boat.models import Boat, Member
from refit.boat.refusals import Refused


@transaction.atomic
def add_person(boat: Boat, *, name: str, sign_in: str, password: str, role: str) -> Member:
    """Make a person who can sign in, and give them a role on the boat."""
    lock(boat)
    if User.objects.filter(username__iexact=sign_in).exists():
        raise Refused(
            f"Somebody signs in as {sign_in} already. Choose another sign-in name, or leave the password empty "
            "to add that very person.",
            code="taken",
            field="sign_in",
        )
    user = User.objects.create_user(username=sign_in, password=password, first_name=name or sign_in)
    return add_member(boat, user, role)


@transaction.atomic
def add_known_person(boat: Boat, *, sign_in: str, role: str) -> Member:
    """Give somebody who signs in here already a role on the boat; one who is on it is left as they are."""
    lock(boat)
    user = User.objects.filter(username__iexact=sign_in).first()
    if user is None:
        raise Refused("A new person needs a first password.", code="required", field="password")
    there = Member.objects.filter(boat=boat, user=user).select_related("user").first()
    if there is not None:
        raise Refused(
            f"{there} is on this boat already; change the role in the list.", code="member", field="sign_in"
        )
    return add_member(boat, user, role)
