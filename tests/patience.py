"""Waiting for what must come: no result hangs on how fast the machine is."""

from __future__ import annotations

import time
from collections.abc import Callable

PATIENCE_S = 120
"""Only a test that fails waits so long."""


def until(holds: Callable[[], object]) -> bool:
    """Ask again and again until it holds; False when it never does."""
    deadline = time.monotonic() + PATIENCE_S
    while not holds():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.05)
    return True
