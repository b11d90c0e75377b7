"""What ``prove`` checks of the room."""

from __future__ import annotations

from kitting.packing.proof import boxes, handed, holds, masses, undone, voided

__all__ = ["boxes", "handed", "holds", "masses", "undone", "voided"]
