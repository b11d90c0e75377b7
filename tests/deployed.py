"""The real settings, but for where static files are gathered."""

from __future__ import annotations

from lotward.settings import *  # noqa: F403 -- all of them
from lotward.settings import DATA_DIR

STATIC_ROOT = DATA_DIR / "static"
