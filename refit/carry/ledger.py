"""The proof of the whole ledger: every floor's differences, one sentence each."""

from collections.abc import Iterator

from refit.boat import proof as boat_proof
from refit.buying import proof as buying_proof
from refit.stores import proof as stores_proof


def differences() -> Iterator[str]:
    """Yield every difference between what is stored and what it is made of."""
    yield from boat_proof.differences()
    yield from stores_proof.differences()
    yield from buying_proof.differences()
