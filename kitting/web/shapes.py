"""The outlines of the marks of stage, and the word that stands beside each.

Outlines lie in a square of 20 and are SVG with classes only: "line" is drawn, "fill"
is filled. They differ in outline, so that they can be told apart without colour and in
a bad print.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext_lazy

from kitting.domain.stages import PrintState, RunStage, ShipmentStage

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

# Outlines in a square of 20. "line" is drawn, "fill" is filled.
_BOX = '<path class="mark-line" d="M3 3h14v10H3z"/>'
_OPEN_BOX = '<path class="mark-line" d="M3 2v11h14V2"/>'
_LOAD = '<path class="mark-line" d="M1 4h18v7H1z"/>'
_OPEN_LOAD = '<path class="mark-line" d="M1 4v7h18V4"/>'
_BRACKETS = '<path class="mark-line" d="M5 2H2v16h3M15 2h3v16h-3"/>'
_OPEN_BRACKET = '<path class="mark-line" d="M5 2H2v16h3"/>'
_ASKED = '<path class="mark-line" d="M3 3h14v7l-7 7-7-7z"/>'
_SLIP = '<path class="mark-line" d="M5 1h10v9H5z"/>'
_RING = '<circle class="mark-line" cx="10" cy="10" r="7.5"/>'


def _ticks(count: int) -> str:
    """Draw one to three short strokes under a box or a load."""
    starts = {1: (10,), 2: (7, 13), 3: (4, 10, 16)}[count]
    path = "".join(f"M{x} 15v5" for x in starts)
    return f'<path class="mark-line" d="{path}"/>'


_BAG_SHAPES: Final[dict[str, str]] = {
    "arrived": _RING,
    "accepted": _RING + '<path class="mark-fill" d="M10 2.5a7.5 7.5 0 0 0 0 15z"/>',
    "in_run": '<path class="mark-fill" d="M4 2l14 8-14 8z"/>',
    "exposed": '<path class="mark-line" d="M10 1l8 9-8 9-8-9z"/>',
    "cleared": '<circle class="mark-fill" cx="10" cy="10" r="8.5"/>',
    "used_up": '<path class="mark-fill" d="M4 9h12v3H4z"/>',
    "rejected": '<path class="mark-line" d="M3 3l14 14M17 3L3 17"/>',
}
_BOX_SHAPES: Final[dict[str, str]] = {
    "open": _OPEN_BOX,
    "closed": _BOX,
    "labelled": _BOX + '<path class="mark-fill" d="M3 6h14v4H3z"/>',
    "loaded": _BOX + _ticks(1),
    "sent": _BOX + _ticks(2),
    "delivered": _BOX + _ticks(3),
    "returned": _BOX + '<path class="mark-line" d="M17 17H5M8 14l-3 3 3 3"/>',
    "voided": _BOX + '<path class="mark-line" d="M1 17L19-1"/>',
}
_RUN_SHAPES: Final[dict[str, str]] = {
    RunStage.OPEN: _OPEN_BRACKET + '<path class="mark-fill" d="M7 5l9 5-9 5z"/>',
    RunStage.RELEASED: _BRACKETS + '<circle class="mark-fill" cx="10" cy="10" r="4"/>',
    RunStage.FAILED: _BRACKETS + '<path class="mark-line" d="M6 6l8 8M14 6l-8 8"/>',
}
_SHIPMENT_SHAPES: Final[dict[str, str]] = {
    ShipmentStage.OPEN: _OPEN_LOAD,
    ShipmentStage.SENT: _LOAD + _ticks(2),
    ShipmentStage.DELIVERED: _LOAD + _ticks(3),
    ShipmentStage.CANCELLED: _LOAD + '<path class="mark-line" d="M2 18L18-3"/>',
}
_REQUEST_SHAPES: Final[dict[str, str]] = {
    "open": _ASKED,
    "served": _ASKED + '<path class="mark-fill" d="M5 5h10v4.2l-5 5-5-5z"/>',
    "cancelled": _ASKED + '<path class="mark-line" d="M2 18L18-1"/>',
}
_LOT_SHAPES: Final[dict[str, str]] = {
    "open": '<path class="mark-line" d="M5 4.4a7.5 7.5 0 1 0 10 0"/>',
    "closed": '<circle class="mark-line" cx="10" cy="11.5" r="6.5"/>'
    '<path class="mark-line" d="M3 2h14"/>',
    "cancelled": '<circle class="mark-line" cx="10" cy="11.5" r="6.5"/>'
    '<path class="mark-line" d="M2 19L18 3"/>',
}
_JOB_SHAPES: Final[dict[str, str]] = {
    PrintState.QUEUED: _SLIP + '<path class="mark-line" d="M4 15h2M9 15h2M14 15h2"/>',
    PrintState.SENT: _SLIP + '<path class="mark-line" d="M3 15h13M12 11l4 4-4 4"/>',
    PrintState.PRINTING: _SLIP + '<path class="mark-fill" d="M5 13h10l-5 6z"/>',
    PrintState.DONE: _SLIP + '<path class="mark-line" d="M5 15l4 4 8-6"/>',
    PrintState.FAILED: _SLIP + '<path class="mark-line" d="M6 13l7 6M13 13l-7 6"/>',
    PrintState.CANCELLED: _SLIP + '<path class="mark-line" d="M2 13L18-2"/>',
}
SHAPES: Final[dict[str, dict[str, str]]] = {
    "bag": _BAG_SHAPES,
    "box": _BOX_SHAPES,
    "run": _RUN_SHAPES,
    "shipment": _SHIPMENT_SHAPES,
    "request": _REQUEST_SHAPES,
    "lot": _LOT_SHAPES,
    "job": _JOB_SHAPES,
}
"""The outline of each stage, by kind of thing and stage."""

BARS: Final = '<path class="mark-bar" d="M7 0v20M13 0v20"/>'
"""Two upright bars: held, where no stage is told."""

BARS_BESIDE: Final = '<path class="mark-bar" d="M-4 0v20M24 0v20"/>'
"""Two upright bars with room for a mark of 20 between them: held in that stage."""

WORDS: Final[dict[str, _StrPromise]] = {
    "arrived": gettext_lazy("arrived"),
    "accepted": gettext_lazy("accepted"),
    "in_run": gettext_lazy("in run"),
    "exposed": gettext_lazy("exposed"),
    "cleared": gettext_lazy("cleared"),
    "used_up": gettext_lazy("used up"),
    "rejected": gettext_lazy("rejected"),
    "open": gettext_lazy("open"),
    "closed": gettext_lazy("closed"),
    "labelled": gettext_lazy("labelled"),
    "loaded": gettext_lazy("loaded"),
    "sent": gettext_lazy("sent"),
    "delivered": gettext_lazy("delivered"),
    "returned": gettext_lazy("returned"),
    "served": gettext_lazy("served"),
    "voided": gettext_lazy("voided"),
    "released": gettext_lazy("released"),
    "failed": gettext_lazy("failed"),
    "cancelled": gettext_lazy("cancelled"),
    "queued": gettext_lazy("queued"),
    "printing": gettext_lazy("printing"),
    "done": gettext_lazy("done"),
    "held": gettext_lazy("held"),
}
"""The word that stands beside each mark."""


def stage_word(stage: str) -> str:
    """The word of a stage, where its mark would be too much."""
    return str(WORDS.get(str(stage), stage))
