from typing import Any

from django.http import Http404, HttpResponse


def new(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def quick(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def swap(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def change(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def photo(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def into(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def back_into(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def retire(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def use_again(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
