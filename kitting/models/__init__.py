"""The tables of kitting, one module per noun."""

from __future__ import annotations

from kitting.models.base import Guarded
from kitting.models.boxes import Bench, Box, BoxEvent, BoxLine, OpenBag, Print
from kitting.models.catalogue import (
    BoxSize,
    Method,
    Part,
    Place,
    Product,
    Recipe,
    RecipeLine,
    Revision,
)
from kitting.models.holds import Hold, Lift
from kitting.models.journal import JournalHead, Link, Operation
from kitting.models.lots import Bag, Check, Lot, LotOrigin, Movement
from kitting.models.runs import (
    Calibration,
    Meter,
    Protocol,
    ProtocolLoad,
    Reading,
    Run,
    RunBag,
    RunVerdict,
)
from kitting.models.workshop import Badge, Counter, User, Workshop

__all__ = [
    "Badge",
    "Bag",
    "Bench",
    "Box",
    "BoxEvent",
    "BoxLine",
    "BoxSize",
    "Calibration",
    "Check",
    "Counter",
    "Guarded",
    "Hold",
    "JournalHead",
    "Lift",
    "Link",
    "Lot",
    "LotOrigin",
    "Meter",
    "Method",
    "Movement",
    "OpenBag",
    "Operation",
    "Part",
    "Place",
    "Print",
    "Product",
    "Protocol",
    "ProtocolLoad",
    "Reading",
    "Recipe",
    "RecipeLine",
    "Revision",
    "Run",
    "RunBag",
    "RunVerdict",
    "User",
    "Workshop",
]
