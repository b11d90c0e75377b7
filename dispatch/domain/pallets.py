"""What may be said of a pallet."""

from __future__ import annotations

from enum import StrEnum


class PalletStage(StrEnum):
    """A pallet takes boxes until it is broken up; where it goes, its boxes say."""

    OPEN = "open"
    BROKEN_UP = "broken_up"
