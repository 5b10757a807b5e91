"""What is known of the boat herself: identity, dimensions, units, time zone."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.actions.boats import change_boat
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.people import BoatFactsForm


def boat(request: Any) -> HttpResponse:
    """Show and change what is known of the boat."""
    if request.method == "GET":
        return render(request, "boats/boat.html", {"form": BoatFactsForm(request.boat)})
    form = BoatFactsForm(request.boat, request.POST)

    def deed() -> Done:
        changed = change_boat(request.boat, **form.facts())
        return Done(go=at(request, "boat"), said=f"What is known of {changed} is saved.")

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "boats/boat.html", {"form": form})
