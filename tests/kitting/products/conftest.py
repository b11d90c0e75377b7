"""Fixtures of the room of products."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]
