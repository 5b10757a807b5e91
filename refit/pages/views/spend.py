from typing import Any

from django.http import Http404, HttpResponse


def spend(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def xlsx(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def lines(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
