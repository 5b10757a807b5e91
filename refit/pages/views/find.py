from typing import Any

from django.http import Http404, HttpResponse


def find(request: Any, **kwargs: Any) -> HttpResponse:
    raise Http404("to be written")
