"""What ``prove`` checks of the room."""

from __future__ import annotations

from kitting.lots.proof import counts, lots

__all__ = ["counts", "lots"]
