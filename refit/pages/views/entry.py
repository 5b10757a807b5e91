from typing import Any

from django.http import Http404, HttpResponse


def home(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def healthz(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
