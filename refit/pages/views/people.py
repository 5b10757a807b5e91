from typing import Any

from django.http import Http404, HttpResponse


def people(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def person(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def remove(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
