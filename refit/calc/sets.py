"""What is sold or fitted in sets, cut from a length, or comes as a kit.

Decides how a quantity is rounded up, when the end of a rope is still a piece, and what each thing from a kit has cost.
Quantities are exact; money is whole minor units. Does not know parts or places.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil

from .money import allocate
from .numbers import format_quantity
from .problems import Problem


class SetProblem(Problem):
    """What was refused; `code` is "not_positive", "negative", "longer_than_it_is", "no_value", "empty" or "twice"."""


def up_to_sets(quantity: Decimal, of: Decimal | int) -> Decimal:
    """Return a quantity rounded up to whole sets of so many: 5 in sets of 4 is 8; nought stays nought."""
    size = Decimal(of)
    if not size > 0:
        raise SetProblem(
            f"A set of {format_quantity(size)} cannot be; it holds more than nought.", "not_positive"
        )
    if quantity < 0:
        raise SetProblem(
            f"{format_quantity(quantity)} cannot be wanted; it must be nought or more.", "negative"
        )
    return ceil(Fraction(quantity) / Fraction(size)) * size


@dataclass(frozen=True)
class Cut:
    """What a cut leaves, in the unit of the length: the piece, the rest that stays one, or the bits it is too short for.

    One of `rest` and `bits` is nought; the three add up to what was there.
    """

    piece: Decimal
    rest: Decimal
    bits: Decimal


def cut(length: Decimal, wanted: Decimal, keep_above: Decimal = Decimal(0)) -> Cut:
    """Cut so much off a length; an end shorter than `keep_above` is no piece any more and goes to the bits.

    Raise SetProblem for a piece longer than there is, or of no length.
    """
    if not wanted > 0:
        raise SetProblem("A piece is longer than nought; type how much to cut.", "not_positive")
    if wanted > length:
        raise SetProblem(
            f"It is only {format_quantity(length)} long; {format_quantity(wanted)} cannot be cut from it.",
            "longer_than_it_is",
        )
    left = length - wanted
    if left < keep_above:
        return Cut(wanted, Decimal(0), left)
    return Cut(wanted, left, Decimal(0))


class Split(StrEnum):
    """What the cost of a kit is split by."""

    VALUE = "value"
    EQUAL = "equal"


@dataclass(frozen=True)
class Content:
    """One thing in a kit: how many of it, and what one is worth (minor units) where that is known."""

    key: Hashable
    quantity: Decimal
    each: int | None = None


def open_kit(cost: int | None, contents: Sequence[Content], by: Split) -> dict[Hashable, int | None]:
    """Return what each line of a kit's contents has cost; together they are the cost of the kit to the minor unit.

    By value a line counts as its quantity times what one is worth; equally each line counts the same. A cost nobody
    knows stays unknown for each. Raise SetProblem for an empty kit, a line twice, or a value that is missing.
    """
    keys = [content.key for content in contents]
    if not keys:
        raise SetProblem("There is nothing in this kit; list what is in it.", "empty")
    if len(set(keys)) != len(keys):
        raise SetProblem("A thing is there twice in this kit; put it in one line.", "twice")
    if any(not content.quantity > 0 for content in contents):
        raise SetProblem("Each thing in a kit is there at least in part; type how many.", "not_positive")
    if cost is None:
        return dict.fromkeys(keys, None)
    shares = allocate(cost, _weights(contents, by))
    return dict(zip(keys, shares, strict=True))


def _weights(contents: Sequence[Content], by: Split) -> list[Decimal | int]:
    if by == Split.EQUAL:
        return [1] * len(contents)
    missing = sum(content.each is None for content in contents)
    if missing:
        things = "1 thing has" if missing == 1 else f"{missing} things have"
        raise SetProblem(f"{things} no value; fill it in, or split equally.", "no_value")
    if any((content.each or 0) < 0 for content in contents):
        raise SetProblem("A thing cannot be worth less than nought.", "negative")
    return [content.quantity * (content.each or 0) for content in contents]
