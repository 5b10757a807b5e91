"""The ways between the pages of buying in time."""

from typing import Any

from refit.pages.acting import at

WORDS = (("buy", "To order"), ("town", "Town run"), ("chase", "To chase"))


def tabs(request: Any, here: str) -> list[dict[str, Any]]:
    """Return the ways, the page in hand marked."""
    return [{"word": word, "go": at(request, name), "here": name == here} for name, word in WORDS]
