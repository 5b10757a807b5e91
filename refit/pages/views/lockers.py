from typing import Any

from django.http import Http404, HttpResponse


def lockers(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")


def locker(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
