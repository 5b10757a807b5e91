from typing import Any

from django.http import Http404, HttpResponse


def orders(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def order(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def place(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def draft(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def cancel(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def uncancel(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def throw_away(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def unbuy(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
