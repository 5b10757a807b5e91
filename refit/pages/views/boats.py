"""What is known of the boat herself: identity, dimensions, units, time zone."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.actions.boats import change_boat
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.people import BoatFactsForm


def boat(request: Any) -> HttpResponse:
    """Show and change what is known of the boat."""
    if request.method == "GET":
        return render(request, "boats/boat.html", {"form": BoatFactsForm(request.boat)})
    # The undo of a change sends what stood before, in its address.
    form = BoatFactsForm(request.boat, request.POST if "name" in request.POST else request.GET)
    before = {name: value for name, value in form.initial.items() if value is not None}

    def deed() -> Done:
        changed = change_boat(request.boat, **form.facts())
        # Lengths go back in the units that the boat is kept in by then.
        undo = "" if changed.units != before["units"] else f"{at(request, 'boat')}?{urlencode(before)}"
        return Done(go=at(request, "boat"), said=f"What is known of {changed} is saved.", undo=undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "boats/boat.html", {"form": form})
