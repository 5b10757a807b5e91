"""How a page acts: one form, one action, once; then say what was done and lead on.

A form that was sent before leads where it led then. A refusal goes back into the form, with nothing written.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import IntegrityError, OperationalError, transaction
from django.forms import BaseForm, Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from refit.boat.formkeys import AlreadyDone, claim, digest
from refit.boat.refusals import Refused

UNSENT = ("csrfmiddlewaretoken", "form_key")


@dataclass(frozen=True)
class Done:
    """What a deed led to: where to go, what to say, and the address that undoes it (empty if none)."""

    go: str
    said: str = ""
    undo: str = ""


def act(request: Any, form: BaseForm, deed: Callable[[], Done]) -> HttpResponse | None:
    """Do the deed once for this form and lead on; None if it was refused, with the reason in the form."""
    try:
        with transaction.atomic():
            key = None
            if request.POST.get("form_key"):
                key = claim(_boat(request), request.user, request.POST["form_key"], content_of(request))
            done = deed()
            if key is not None:
                key.led_to = done.go[:200]
                key.save(update_fields=["led_to"])
    except AlreadyDone as already:
        at = timezone.localtime(already.done_at)
        messages.info(request, f"Already recorded at {at:%H:%M}.")
        return redirect(already.led_to or request.get_full_path())
    except ValidationError as refused:
        add_refusal(form, refused)
        return None
    except (IntegrityError, OperationalError):
        sentence = "Somebody changed this at the same moment. Look again, and repeat it if it is still right."
        form.add_error(None, ValidationError(sentence, code="raced"))
        return None
    if done.said:
        messages.success(request, done.said, extra_tags=done.undo)
    return redirect(done.go)


def add_refusal(form: BaseForm, refused: ValidationError) -> None:
    """Put a refusal beside the field that is at fault, or above the form."""
    name = getattr(refused, "field", None)
    form.add_error(name if name in form.fields else None, refused)


def press(request: Any, deed: Callable[[], Done], back: str) -> HttpResponse:
    """Do the deed of a plain button; a refusal is said at the top of the page that the button stands on."""
    form = Form(request.POST)
    response = act(request, form, deed)
    if response is not None:
        return response
    for sentence in form.non_field_errors():
        messages.error(request, str(sentence))
    return redirect(back)


def refused_page(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """Show the form again with what is wrong (422: nothing was written)."""
    return render(request, template, context, status=422)


def at(request: Any, name: str, *args: Any) -> str:
    """Return the address of a page of this boat."""
    return reverse(f"pages:{name}", args=[request.boat.slug, *args])


def content_of(request: Any) -> str:
    """Return the digest of what a form sent, files by name and size."""
    pairs = [(name, value) for name, values in request.POST.lists() if name not in UNSENT for value in values]
    pairs += [(name, f"{file.name}:{file.size}") for name, files in request.FILES.lists() for file in files]
    return digest([("", request.path), *pairs])


def _boat(request: Any) -> Any:
    return getattr(request, "boat", None)


__all__ = ["Done", "Refused", "act", "add_refusal", "at", "content_of", "press", "refused_page"]
