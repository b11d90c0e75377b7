"""What the label of a pallet says."""

from __future__ import annotations

from typing import Final

NAME: Final = "pallet"
