from typing import Any

from django.http import Http404, HttpResponse


def spares(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def pdf(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def xlsx(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
