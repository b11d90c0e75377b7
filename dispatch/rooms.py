"""The rooms of dispatch, in the one order in which they may use one another."""

from __future__ import annotations

from typing import Final

GROUND: Final = ("domain", "labels", "models")
ROOMS: Final = (
    *("consignees", "requests", "allotment", "pallets", "shipments", "receipts"),
    *("log", "figures", "trace", "recall", "notices", "replies", "effectiveness"),
    *("complaints", "drills", "closing", "journal"),
)
