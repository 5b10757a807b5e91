from typing import Any

from django.http import Http404, HttpResponse


def new(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def totals(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def known(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def change(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
