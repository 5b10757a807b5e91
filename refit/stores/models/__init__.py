"""The stores: parts, where they lie, and the ledger of everything that went in and out.

A holding changes only through a movement; a movement is never changed (a database trigger refuses it).
"""

from refit.stores.models.holdings import Holding, HoldingQuerySet, Level, SetAside, usable
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
from refit.stores.models.needs import Need, NeedQuerySet
from refit.stores.models.parts import (
    Hazard,
    Kept,
    Lot,
    NumberKind,
    Part,
    PartNumber,
    PartPaper,
    PartQuerySet,
    Unit,
)

__all__ = [
    "DOCUMENTED",
    "Count",
    "Entry",
    "EntryKind",
    "Hazard",
    "Holding",
    "HoldingQuerySet",
    "Kept",
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
    "Unit",
    "usable",
]
