"""A trace as plain values, for other programs."""

from __future__ import annotations

from datetime import date
from typing import Any

from dispatch.domain.trace import Balance
from dispatch.trace.queries import ConsigneeRow, LotRow, RunRow, Trace

BAG_NAMES = ("number", "lot", "stage", "pieces", "place", "like")
BOX_NAMES = (
    *("serial", "sscc", "stage", "pieces", "sets", "shipment", "consignee"),
    *("sent_on", "place", "passed_by"),
)
"""What is exported of a bag and of a box; the rest is for a page."""


def as_json(found: Trace) -> dict[str, Any]:
    """A trace as the one object that ``trace --json`` prints.

    Args:
        found: The trace.

    Returns:
        Plain values; dates as YYYY-MM-DD.
    """

    def plain(row: Any, *names: str) -> dict[str, Any]:
        values = {name: getattr(row, name) for name in names}
        return {
            name: value.isoformat() if isinstance(value, date) else value
            for name, value in values.items()
        }

    return {
        "number": found.number,
        "kind": found.kind,
        "lots": [plain(row, *LotRow.__dataclass_fields__) for row in found.lots],
        "bags": [plain(row, *BAG_NAMES) for row in found.bags],
        "runs": [plain(row, *RunRow.__dataclass_fields__) for row in found.runs],
        "boxes": [plain(row, *BOX_NAMES) for row in found.boxes],
        "consignees": [
            plain(row, *ConsigneeRow.__dataclass_fields__) for row in found.consignees
        ],
        "balance": None
        if found.balance is None
        else plain(found.balance, *Balance.__dataclass_fields__),
        "derived": [
            {"lot": lot, **plain(its, *Balance.__dataclass_fields__)}
            for lot, its in found.derived
        ],
    }
