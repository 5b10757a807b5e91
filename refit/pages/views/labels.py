from typing import Any

from django.http import Http404, HttpResponse


def labels(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def sheet(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def preview(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def blank(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def unbind(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
