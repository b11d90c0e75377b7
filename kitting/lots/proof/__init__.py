"""What ``prove`` checks of the room."""

from __future__ import annotations

from kitting.lots.proof import counts, lots, materials

__all__ = ["counts", "lots", "materials"]
