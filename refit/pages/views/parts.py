from typing import Any

from django.http import Http404, HttpResponse


def parts(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def new(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def part(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def change(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def number_add(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def number_remove(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def photo(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def retire(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def use_again(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def delete(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
