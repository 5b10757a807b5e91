"""The way in: the front door, and the answer to whoever asks whether the program is alive."""

from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.db import DatabaseError, connection
from django.http import HttpResponse
from django.shortcuts import redirect, render

from refit.boat.models import Boat


def home(request: Any) -> HttpResponse:
    """Lead to the only boat, list the boats, or begin with the first."""
    if not request.user.is_authenticated:
        return redirect_to_login("/")
    boats = list(Boat.objects.of(request.user))
    if len(boats) == 1:
        return redirect("pages:today", boats[0].slug)
    if not boats and request.user.is_superuser:
        return redirect("pages:first-boat")
    return render(request, "home/home.html", {"boats": boats})


def healthz(request: Any) -> HttpResponse:
    """Say `ok` when the database answers. Asks for no sign-in and keeps nothing."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except DatabaseError:
        return HttpResponse("The database does not answer.", status=503, content_type="text/plain")
    return HttpResponse("ok", content_type="text/plain", headers={"Cache-Control": "no-store"})
