"""The boat's people: who they are and what they may do. One owner always stays."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.actions.boats import add_member, remove_member
from refit.boat.actions.people import add_known_person, add_person
from refit.boat.models import Member
from refit.boat.rights import Role
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.people import PersonForm, RoleForm


def people(request: Any) -> HttpResponse:
    """List the boat's people; add one."""
    if request.method == "GET":
        form = PersonForm(request.boat, initial={"role": Role.CREW})
        return render(request, "people/people.html", _page(request, form))
    form = PersonForm(request.boat, request.POST)

    def deed() -> Done:
        data = form.cleaned_data
        if data["password"]:
            asked = {name: data[name] for name in ("name", "sign_in", "password", "role")}
            member = add_person(request.boat, **asked)
        else:
            member = add_known_person(request.boat, sign_in=data["sign_in"], role=data["role"])
        undo = at(request, "person-remove", member.pk)
        said = f"{member} is {member.get_role_display().lower()} now."
        return Done(go=at(request, "people"), said=said, undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "people/people.html", _page(request, form))


def _page(request: Any, form: PersonForm) -> dict[str, Any]:
    members = (
        Member.objects.filter(boat=request.boat).select_related("user").order_by("user__first_name", "pk")
    )
    return {"form": form, "members": list(members), "roles": Role.choices}


def _member(request: Any, pk: int) -> Member:
    found: Member = seeing.one(Member.objects.filter(boat=request.boat).select_related("boat", "user"), pk=pk)
    return found


def person(request: Any, pk: int) -> HttpResponse:
    """Give a person another role; `?role=` in the address is the undo of an earlier change."""
    found = _member(request, pk)
    form = RoleForm(request.boat, request.POST if "role" in request.POST else request.GET)
    back = at(request, "people")

    def deed() -> Done:
        if not form.is_valid():
            return Done(go=back, said="Choose a role from the list.")
        before, role = found.role, form.cleaned_data["role"]
        changed = add_member(request.boat, found.user, role)
        undo = f"{at(request, 'person', pk)}?{urlencode({'role': before})}"
        return Done(go=back, said=f"{changed} is {Role(role).label.lower()} now.", undo=undo)

    return press(request, deed, back)


def remove(request: Any, pk: int) -> HttpResponse:
    """Take a person off the boat. What they wrote down stays."""
    found = _member(request, pk)
    back = at(request, "people")

    def deed() -> Done:
        name = str(found)
        remove_member(request.boat, found)
        go = back if found.user_id != request.user.pk else "/"
        return Done(go=go, said=f"{name} is no longer on this boat. What they wrote down stays.")

    return press(request, deed, back)
