"""Find: one box on every page. Places, parts, jobs and orders by a few letters, the place first."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import patch_vary_headers

from refit.calc.barcodes import is_gtin
from refit.calc.problems import Problem
from refit.calc.text import clean
from refit.pages.acting import at
from refit.pages.finding import A_FEW, MANY
from refit.pages.finding import find as find_in

LONGEST = 100


def find(request: Any) -> HttpResponse:
    """Show what the words in `?q=` may mean; as one types, only the results."""
    text = words(request.GET.get("q", ""))
    found = find_in(request.member, text, request.today, MANY if request.GET.get("all") else A_FEW)
    if found.exact and not found.parts and not request.htmx:
        return redirect(at(request, "locker", found.exact.code))
    context = {
        "find_text": text,
        "found": found,
        "said": _said(found) if text else "",
        "new_query": urlencode({"gtin" if is_gtin(text) else "name": text}),
        "more": found.more and not request.GET.get("all"),
        "cut": found.more and bool(request.GET.get("all")),
    }
    template = "find/_found.html" if request.htmx else "find/find.html"
    response = render(request, template, context)
    # The same address answers with a page or with its results alone.
    patch_vary_headers(response, ["HX-Request"])
    return response


def words(text: str) -> str:
    """Return what was typed, fit to look for; nothing where it cannot be."""
    try:
        return clean(text[: LONGEST * 4])[:LONGEST]
    except Problem:
        return ""


def _said(found: Any) -> str:
    """Return how much was found, for those who hear the page."""
    counts = (
        (len(found.places), "place", "places"),
        (len(found.parts), "part", "parts"),
        (len(found.jobs), "job", "jobs"),
        (len(found.orders), "order", "orders"),
    )
    return ", ".join(f"{n} {one if n == 1 else many}" for n, one, many in counts if n) or "Nothing found"
