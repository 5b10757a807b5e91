from typing import Any

from django.http import Http404, HttpResponse


def moves(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def undo(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def missing(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def missing_close(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
