from typing import Any

from django.http import Http404, HttpResponse


def book_in(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def all_came(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def undo(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def came_as_parts(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
