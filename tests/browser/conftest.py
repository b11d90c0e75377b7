"""A bench in a browser."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from tests.benches import Packing, make_packing


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    """What stands in for a bench without network costs a quarter of each load of it."""
    return {**browser_context_args, "service_workers": "block"}


@pytest.fixture
def at(live_server) -> Packing:
    return make_packing()


@pytest.fixture
def bench(
    page: Page, at: Packing, live_server, make_user, client_for
) -> Callable[[], None]:
    """Open the bench as a packer."""
    client = client_for(make_user("packer", group="packer"))
    cookie = {
        "name": "lotward_session",
        "value": client.cookies["lotward_session"].value,
        "url": live_server.url,
    }
    page.context.add_cookies([cookie])  # type: ignore[list-item]
    page.set_viewport_size({"width": 1280, "height": 800})
    address = live_server.url + reverse("kitting:bench", args=[at.bench.code])

    def go() -> None:
        page.goto(address)

    return go
