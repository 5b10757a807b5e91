"""What every template knows: the boat, the member and their rights."""

from typing import Any

from django.http import HttpRequest


def boat(request: HttpRequest) -> dict[str, Any]:
    """Return the boat's context; empty on pages without a boat."""
    found = getattr(request, "boat", None)
    if found is None:
        return {}
    return {
        "boat": found,
        "member": request.member,  # type: ignore[attr-defined]
        "rights": {str(right) for right in request.rights},  # type: ignore[attr-defined]
        "today": request.today,  # type: ignore[attr-defined]
    }
