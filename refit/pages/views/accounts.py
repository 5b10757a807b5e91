from typing import Any

from django.http import Http404, HttpResponse


def sign_in(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def sign_out(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def password(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def first_owner(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def first_boat(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def first_systems(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def first_lockers(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
