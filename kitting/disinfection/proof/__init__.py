"""What ``prove`` checks of the room."""

from __future__ import annotations

from kitting.disinfection.proof import protocols, runs

__all__ = ["protocols", "runs"]
