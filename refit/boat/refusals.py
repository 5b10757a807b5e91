"""How an action says no: one kind sentence, with a code that tests and forms can hold on to."""

from typing import Any

from django.core.exceptions import ValidationError


class Refused(ValidationError):
    """The change was refused; nothing was written. `field` names the form field that is at fault, if one is."""

    def __init__(self, message: str, code: str, field: str | None = None, **params: Any) -> None:
        super().__init__(message, code=code, params=params or None)
        self.field = field

    @property
    def sentence(self) -> str:
        return self.messages[0]
