"""Signing in and out, and the first use: owner, boat, systems, lockers, one label to try."""

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView, LogoutView, redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse

from refit.boat import first
from refit.boat.actions import boats, places
from refit.boat.models import Kind, Location, Member
from refit.boat.refusals import Refused
from refit.boat.rights import Right, Role
from refit.calc.text import fold
from refit.carry.labels import labelled
from refit.pages.acting import Done, act, add_refusal, at, refused_page
from refit.pages.forms.accounts import (
    FirstBoatForm,
    FirstLockersForm,
    FirstOwnerForm,
    FirstSystemsForm,
    SignInForm,
)
from refit.pages.guarding import enter

BACKEND = "django.contrib.auth.backends.ModelBackend"


def sign_in(request: Any) -> HttpResponseBase:
    """Sign in, and go on to what was asked for."""
    door: Any = LoginView.as_view(
        template_name="accounts/sign_in.html",
        authentication_form=SignInForm,
        redirect_authenticated_user=True,
        extra_context={"nobody_yet": not User.objects.exists()},
    )
    return door(request)


def sign_out(request: Any) -> HttpResponse:
    """Sign out."""
    way_out: Any = LogoutView.as_view()
    return way_out(request)


def password(request: Any) -> HttpResponse:
    """Change one's own password; other phones are signed out by it."""
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    form = PasswordChangeForm(request.user, request.POST or None)
    if request.method == "GET":
        return render(request, "accounts/password_change.html", {"form": form})
    if not form.is_valid():
        return refused_page(request, "accounts/password_change.html", {"form": form})
    update_session_auth_hash(request, form.save())
    messages.success(request, "The password is changed. Other phones ask for it again.")
    return redirect("pages:home")


def first_owner(request: Any, token: str) -> HttpResponse:
    """The one-time address: make the first owner, and sign them in."""
    if request.user.is_authenticated:
        return redirect("pages:home")
    if not first.fits(token):
        raise Http404("This address is used up, or was never one.")
    if request.method == "GET":
        return render(request, "accounts/first_owner.html", {"form": FirstOwnerForm()})
    form = FirstOwnerForm(request.POST)
    if form.is_valid():
        try:
            owner = first.make_owner(token, form.cleaned_data["name"], form.cleaned_data["password"])
        except Refused as refused:
            add_refusal(form, refused)
        else:
            login(request, owner, backend=BACKEND)
            return redirect("pages:first-boat")
    return refused_page(request, "accounts/first_owner.html", {"form": form})


def first_boat(request: Any) -> HttpResponse:
    """Make a boat: for the owner of the installation, the first one or one more."""
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    if not request.user.is_superuser:
        raise PermissionDenied
    if request.method == "GET":
        return render(request, "accounts/first_boat.html", {"form": FirstBoatForm()})
    form = FirstBoatForm(request.POST)

    def deed() -> Done:
        boat = boats.make_boat(request.user, **form.facts())
        return Done(_step("first-systems", boat.slug))

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "accounts/first_boat.html", {"form": form})


def first_systems(request: Any) -> HttpResponse:
    """Tick the systems that the boat has."""
    elsewhere = _enter(request)
    if elsewhere:
        return elsewhere
    if request.method == "GET":
        return render(request, "accounts/first_systems.html", {"form": FirstSystemsForm(request.boat)})
    form = FirstSystemsForm(request.boat, request.POST)

    def deed() -> Done:
        boats.add_systems(request.boat, form.rows())
        return Done(_step("first-lockers", request.boat.slug))

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "accounts/first_systems.html", {"form": form})


def first_lockers(request: Any) -> HttpResponse:
    """Make the areas and their lockers by quick lists."""
    elsewhere = _enter(request)
    if elsewhere:
        return elsewhere
    if request.method == "GET":
        return render(request, "accounts/first_lockers.html", {"form": FirstLockersForm(request.boat)})
    form = FirstLockersForm(request.boat, request.POST)

    def deed() -> Done:
        made = sum(_add_lockers(request.boat, *row) for row in form.lists())
        said = f"{made} {'locker' if made == 1 else 'lockers'} made, each with a label."
        return Done(_step("first-label", request.boat.slug), said)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "accounts/first_lockers.html", {"form": form})


def first_label(request: Any) -> HttpResponse:
    """Show one label to try with every phone before a sheet is printed."""
    elsewhere = _enter(request)
    if elsewhere:
        return elsewhere
    place = labelled(request.boat).order_by("where", "mark_sort", "id").first()  # aboard before ashore
    if place is None:
        return redirect(_step("first-lockers", request.boat.slug))
    here, there = urlsplit(request.build_absolute_uri("/")), urlsplit(settings.REFIT_ADDRESS)
    context = {
        "place": place,
        "address": f"{settings.REFIT_ADDRESS}/L/{place.code}",
        "labels_lead_to": settings.REFIT_ADDRESS,
        "here": f"{here.scheme}://{here.netloc}",
        "elsewhere": here.netloc.lower() != there.netloc.lower(),
        "sheet": f"{at(request, 'labels-sheet')}?which=ticked&place={place.code}&stock=a4-21",
        "picture": f"{at(request, 'labels-preview')}?code={place.code}&stock=a4-21",
    }
    return render(request, "accounts/first_label.html", context)


def _enter(request: Any) -> HttpResponse | None:
    """Go aboard the boat that is being set up; return where to go instead if there is none."""
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    slug = request.GET.get("boat", "")
    if not slug:
        owned = Member.objects.filter(user=request.user, role=Role.OWNER).order_by("-boat_id")
        newest = owned.select_related("boat").first()
        if newest is None:
            return redirect("pages:home")
        slug = newest.boat.slug
    enter(request, slug)
    if Right.OWN not in request.rights:
        raise PermissionDenied
    return None


def _step(name: str, slug: str) -> str:
    return f"{reverse(f'pages:{name}')}?boat={slug}"


def _add_lockers(boat: Any, field: str, name: str, where: str, quick_list: str) -> int:
    areas = Location.objects.filter(boat=boat, kind=Kind.AREA, retired_at=None)
    area = next((area for area in areas if fold(area.name) == fold(name)), None)
    if area is None:
        area = places.add_place(boat, kind=Kind.AREA, parent=None, name=name, where=where)
    try:
        return len(places.add_places(boat, quick_list, area))
    except Refused as refused:
        raise Refused(refused.sentence, code=refused.code or "refused", field=field) from None
