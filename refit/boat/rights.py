"""Who may do what: one table from role to rights.

Decides nothing about which boat or job; that is looked up where a page begins.
"""

from enum import StrEnum

from django.db.models import TextChoices


class Role(TextChoices):
    OWNER = "owner", "Owner"
    CREW = "crew", "Crew"
    TRADE = "trade", "Trade (contractor)"
    VIEWER = "viewer", "Viewer"


class Right(StrEnum):
    """What an address may ask for. `SEE` is the least."""

    SEE = "see"  # the boat, the jobs given to one, their places and parts
    SEE_ALL = "see_all"  # every place, part and job
    SEE_MONEY = "see_money"  # prices, orders, spend
    STOW = "stow"  # take, put in, move, count
    WORK = "work"  # make and change jobs and parts
    BUY = "buy"  # log orders, book in, attach receipts
    SET_UP = "set_up"  # places, labels, systems, budgets
    OWN = "own"  # the boat itself and its people


RIGHTS: dict[str, frozenset[Right]] = {
    Role.OWNER: frozenset(Right),
    Role.CREW: frozenset(
        {Right.SEE, Right.SEE_ALL, Right.SEE_MONEY, Right.STOW, Right.WORK, Right.BUY, Right.SET_UP}
    ),
    Role.TRADE: frozenset({Right.SEE}),
    Role.VIEWER: frozenset({Right.SEE, Right.SEE_ALL, Right.SEE_MONEY}),
}
