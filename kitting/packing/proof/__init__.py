"""What ``prove`` checks of the room."""

from __future__ import annotations

from kitting.packing.proof import boxes, holds, masses, undone, voided

__all__ = ["boxes", "holds", "masses", "undone", "voided"]
