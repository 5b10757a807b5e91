from typing import Any

from django.http import Http404, HttpResponse


def not_stowed(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def put_in(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def move(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def put_away(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def count(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def take(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def correct(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def not_there(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def level(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
