"""What ``prove`` checks of the room."""

from __future__ import annotations

from kitting.packing.proof import boxes, hand_over, holds, undo, voiding, weighing

__all__ = ["boxes", "hand_over", "holds", "undo", "voiding", "weighing"]
