"""A bench in a browser."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from tests.benches import Packing, make_packing


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
