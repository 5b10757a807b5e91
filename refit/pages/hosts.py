"""Which host names are answered: private addresses, the boat's own names, and nothing else.

A page on the internet could otherwise point a name of its own at the boat and read it through a browser on board.
"""

import ipaddress
from collections.abc import Callable
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest, HttpResponse

OWN_NAMES = ("localhost", "testserver")


class HostsMiddleware:
    """Refuse a request whose Host is neither private nor the boat's own."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not allowed(request.headers.get("Host", "localhost")):
            return HttpResponse(
                "This program answers only on the boat's own network.", status=400, content_type="text/plain"
            )
        return self.get_response(request)


def allowed(host: str) -> bool:
    """Return whether a Host header names this boat: private address, .local name, or the labels' address."""
    try:
        name = (urlsplit(f"//{host}").hostname or "").rstrip(".").lower()
    except ValueError:
        return False
    own = (urlsplit(settings.REFIT_ADDRESS).hostname or "").lower()
    if name in OWN_NAMES or name == own or name.endswith(".local"):
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return bool(name) and "." not in name  # a bare name can only be one of this network
    return address.is_private or address.is_loopback or address.is_link_local
