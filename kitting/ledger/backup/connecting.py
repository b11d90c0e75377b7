"""Letting all that reads and writes go to another database than the workshop's own."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.contrib.contenttypes.models import ContentType
from django.db import DEFAULT_DB_ALIAS, connections


@contextmanager
def standing_in(**changed: Any) -> Iterator[None]:
    """Let every query of this thread go to another database, for as long as it lasts.

    Args:
        **changed: Settings in which it differs from the workshop's own.
    """
    own = connections[DEFAULT_DB_ALIAS]
    other = type(own)({**own.settings_dict, **changed}, DEFAULT_DB_ALIAS)
    connections[DEFAULT_DB_ALIAS] = other
    ContentType.objects.clear_cache()
    try:
        yield
    finally:
        other.close()
        connections[DEFAULT_DB_ALIAS] = own
        ContentType.objects.clear_cache()
