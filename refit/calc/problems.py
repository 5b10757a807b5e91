"""Refusals a person will read: a short code for programs and a plain sentence for people.

Decides how a refused value is shown inside such a sentence; decides nothing about what is refused.
"""


class Problem(ValueError):
    """A value that was refused; `code` is for programs, the message for people."""

    def __init__(self, message: str, code: str) -> None:
        super().__init__(message)
        self.code = code


def shown(text: str, limit: int = 40) -> str:
    """Return text fit for a sentence: quoted, cut to `limit` characters, with nothing unprintable left in it.

    A lone surrogate could not even be sent to a browser, and a direction control would turn the sentence
    round.
    """
    cut = text if len(text) <= limit else text[:limit] + "…"
    safe = "".join(
        letter if letter.isprintable() else " " if letter.isspace() else "\ufffd" for letter in cut
    )
    return f"“{safe}”"
