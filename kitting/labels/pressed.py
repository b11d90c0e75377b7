"""A document of labels that is ready for the printer."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass


@dataclass(frozen=True)
class Pressed:
    """A document that is ready for the printer."""

    pdf: bytes
    pages: int

    @property
    def sha(self) -> bytes:
        """SHA-256 of the document, 32 bytes."""
        return hashlib.sha256(self.pdf).digest()
