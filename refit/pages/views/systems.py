from typing import Any

from django.http import Http404, HttpResponse


def systems(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def system(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def budget(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
