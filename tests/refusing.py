"""Assert that a deed is refused by its code, and that it leaves no trace in any table."""

from collections.abc import Callable
from typing import Any

import pytest
from django.apps import apps
from django.db import transaction

from refit.boat.refusals import Refused


def rows() -> dict[str, list]:
    """Return every row of every table of ours."""
    return {
        model._meta.label: list(model._base_manager.order_by("pk").values())
        for model in apps.get_models()
        if model.__module__.startswith("refit.")
    }


def refuse(code: str, deed: Callable[[], Any]) -> Refused:
    """Assert that a deed is refused by this code, and that nothing at all has changed."""
    before = rows()
    with pytest.raises(Refused) as refused, transaction.atomic():
        deed()
    assert refused.value.code == code
    assert refused.value.sentence[-1] in ".?"
    assert rows() == before
    return refused.value
