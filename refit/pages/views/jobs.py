from typing import Any

from django.http import Http404, HttpResponse


def jobs(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def new(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def job(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def change(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def state(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def need_add(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def need_remove(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def need_close(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def need_open(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
