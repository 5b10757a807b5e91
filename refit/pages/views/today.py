from typing import Any

from django.http import Http404, HttpResponse


def today(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def clock_is_right(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
