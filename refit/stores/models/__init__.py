"""The stores: parts, where they lie, and the ledger of everything that went in and out.

A holding changes only through a movement; a movement is never changed (a database trigger refuses it).
"""

from refit.stores.models.holdings import Holding, HoldingQuerySet, Level, SetAside, fit, usable
from refit.stores.models.ledger import (
    DOCUMENTED,
    Count,
    Entry,
    EntryKind,
    Missing,
    Movement,
    MovementQuerySet,
    Reason,
)
from refit.stores.models.needs import Companion, KitList, KitListLine, Need, NeedQuerySet
from refit.stores.models.parts import (
    GOOD_CONDITIONS,
    Condition,
    Hazard,
    Kept,
    KitContent,
    Lot,
    NumberKind,
    Part,
    PartNumber,
    PartPaper,
    PartQuerySet,
    Side,
    Unit,
)

__all__ = [
    "DOCUMENTED",
    "GOOD_CONDITIONS",
    "Companion",
    "Condition",
    "Count",
    "Entry",
    "EntryKind",
    "Hazard",
    "Holding",
    "HoldingQuerySet",
    "Kept",
    "KitContent",
    "KitList",
    "KitListLine",
    "Level",
    "Lot",
    "Missing",
    "Movement",
    "MovementQuerySet",
    "Need",
    "NeedQuerySet",
    "NumberKind",
    "Part",
    "PartNumber",
    "PartPaper",
    "PartQuerySet",
    "Reason",
    "SetAside",
    "Side",
    "Unit",
    "fit",
    "usable",
]
