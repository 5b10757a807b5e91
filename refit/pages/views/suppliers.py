from typing import Any

from django.http import Http404, HttpResponse


def suppliers(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def supplier(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
