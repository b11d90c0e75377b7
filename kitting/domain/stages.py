"""The stages of a bag, a box, a run and a shipment, and the kinds of movement.

Values are stored in the database and printed by ``trace``; they never change meaning.
"""

from __future__ import annotations

from enum import StrEnum


class BagStage(StrEnum):
    """Where a bag is on its way to a box."""

    ARRIVED = "arrived"
    ACCEPTED = "accepted"
    IN_RUN = "in_run"
    EXPOSED = "exposed"
    CLEARED = "cleared"
    USED_UP = "used_up"
    REJECTED = "rejected"


class BoxStage(StrEnum):
    """Where a box is on its way to a ward."""

    OPEN = "open"
    CLOSED = "closed"
    LABELLED = "labelled"
    LOADED = "loaded"
    SENT = "sent"
    DELIVERED = "delivered"
    RETURNED = "returned"
    VOIDED = "voided"


class RunStage(StrEnum):
    """A run is open, or it was released or failed as a whole."""

    OPEN = "open"
    RELEASED = "released"
    FAILED = "failed"


class ShipmentStage(StrEnum):
    """A shipment gathers boxes until it is sent or cancelled."""

    OPEN = "open"
    SENT = "sent"
    DELIVERED = "delivered"
    CANCELLED = "cancelled"


GONE_SHIPMENTS = (ShipmentStage.SENT, ShipmentStage.DELIVERED)
"""Stages of a shipment that has left."""


class MovementKind(StrEnum):
    """Why a bag's count or stage changed."""

    RECEIVED = "received"
    FOUND = "found"
    ACCEPTED = "accepted"
    REJECTED = "rejected"
    WENT_ON = "went_on"
    CAME_OFF = "came_off"
    CLEARED = "cleared"
    NOT_CLEARED = "not_cleared"
    PLACED = "placed"
    REPACKED = "repacked"
    SET_BACK = "set_back"
    PACKED = "packed"
    UNPACKED = "unpacked"
    SAMPLED = "sampled"
    MADE_INTO = "made_into"
    SENT_BACK = "sent_back"
    SCRAPPED = "scrapped"
    MISSING = "missing"
    CANCELLED = "cancelled"


BOX_MOVES: dict[BoxStage, frozenset[BoxStage]] = {
    BoxStage.OPEN: frozenset({BoxStage.CLOSED, BoxStage.VOIDED}),
    BoxStage.CLOSED: frozenset({BoxStage.LABELLED, BoxStage.VOIDED}),
    BoxStage.LABELLED: frozenset({BoxStage.LOADED, BoxStage.VOIDED}),
    BoxStage.LOADED: frozenset({BoxStage.LABELLED, BoxStage.SENT}),
    BoxStage.SENT: frozenset({BoxStage.DELIVERED, BoxStage.RETURNED}),
    BoxStage.DELIVERED: frozenset({BoxStage.RETURNED}),
    # Back to where it is, where it was said of the wrong box that it came back.
    BoxStage.RETURNED: frozenset(
        {*(BoxStage.SENT, BoxStage.DELIVERED, BoxStage.VOIDED)}
    ),
    BoxStage.VOIDED: frozenset(),
}
"""From which stage a box may go to which."""

IN_HOUSE = frozenset(
    {BoxStage.OPEN, BoxStage.CLOSED, BoxStage.LABELLED, BoxStage.LOADED}
)
"""Stages of a box whose pieces are still in the workshop."""

HERE = IN_HOUSE | {BoxStage.RETURNED}
"""Stages of a box that is in the workshop, or came back to it."""

GONE = frozenset({BoxStage.SENT, BoxStage.DELIVERED})
"""Stages of a box that has left for a consignee."""

COUNTABLE = (
    BagStage.ARRIVED,
    BagStage.ACCEPTED,
    BagStage.EXPOSED,
    BagStage.CLEARED,
    BagStage.REJECTED,
    BagStage.USED_UP,
)
"""Stages in which a bag can be counted: any but on the line, where nobody can."""

UNUSED = frozenset(
    {
        MovementKind.RECEIVED,
        MovementKind.FOUND,
        MovementKind.ACCEPTED,
        MovementKind.CLEARED,
        MovementKind.PLACED,
        MovementKind.REPACKED,
        MovementKind.MISSING,
    }
)
"""Kinds of movement by which nothing of a lot is used; clearing by a run has others."""

REPACKABLE = (
    BagStage.ARRIVED,
    BagStage.ACCEPTED,
    BagStage.CLEARED,
    BagStage.REJECTED,
)
"""Stages from which pieces go into another bag: not while a run has yet to end."""


class PrintState(StrEnum):
    """How far a print job has come."""

    QUEUED = "queued"
    SENT = "sent"
    PRINTING = "printing"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


PRINT_OVER = (PrintState.DONE, PrintState.FAILED, PrintState.CANCELLED)
"""States in which no printer works on a job any more."""
