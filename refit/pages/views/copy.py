"""The read-only copy of the boat that a phone keeps for where there is no signal."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from refit.buying.town import town_rows
from refit.carry.copy import book
from refit.pages.town_sheet import copy_of
from refit.reports.copy import html, policy


def copy(request: Any) -> HttpResponse:
    """Say what the copy is, and offer it."""
    return render(request, "copy/copy.html", {"file": _named(request)})


def file(request: Any) -> HttpResponse:
    """Hand over the copy as one file; it comes with the policy that it carries itself, should a browser open it here."""
    town = copy_of(town_rows(request.boat, request.today))
    page = html(book(request.member, timezone.now(), town))
    response = HttpResponse(page, content_type="text/html; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{_named(request)}"'
    response["Content-Security-Policy"] = f"{policy()}; frame-ancestors 'none'"
    return response


def _named(request: Any) -> str:
    return f"{request.boat.slug}-copy-{request.today.isoformat()}.html"
