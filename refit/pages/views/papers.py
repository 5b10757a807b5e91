from typing import Any

from django.http import Http404, HttpResponse


def attach(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def tray(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def sort(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def back(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def paper(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def small(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def put_on(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def take_off(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
