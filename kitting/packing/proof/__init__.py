"""What ``prove`` checks of the room."""

from __future__ import annotations

from kitting.packing.proof import boxes, holds, undone, voided

__all__ = ["boxes", "holds", "undone", "voided"]
