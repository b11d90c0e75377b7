"""The real settings, but for where static files are gathered and what passwords cost."""

from __future__ import annotations

from lotward.settings import *  # noqa: F403 -- all of them
from lotward.settings import DATA_DIR

STATIC_ROOT = DATA_DIR / "static"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
"""A real one takes its half second, on purpose."""
