"""Do several deeds at once, each in a thread with a database connection of its own."""

import threading
from collections.abc import Callable, Sequence
from typing import Any

from django.db import connections


def at_once(deeds: Sequence[Callable[[], Any]], patience: float = 120) -> list[Any]:
    """Return what each deed returned or raised, in their order; all start together."""
    outcomes: list[Any] = [None] * len(deeds)
    start = threading.Barrier(len(deeds))

    def act(place: int) -> None:
        try:
            start.wait(patience)
            outcomes[place] = deeds[place]()
        except BaseException as problem:  # the test judges it
            outcomes[place] = problem
        finally:
            connections.close_all()

    threads = [threading.Thread(target=act, args=(place,), daemon=True) for place in range(len(deeds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(patience)
    if any(thread.is_alive() for thread in threads):
        raise AssertionError("They wait for each other.")
    return outcomes
