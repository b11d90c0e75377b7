"""The rooms of kitting, in the one order in which they may use one another.

A room uses the ground and the rooms before it, never those after it. What must go the
other way it offers: the room that owns it registers it when the application starts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Final

from django.urls import URLPattern

GROUND: Final = ("domain", "labels", "ipp", "models", "ledger", "web")
ROOMS: Final = (
    "printing",
    "people",
    "products",
    "lots",
    "places",
    "checking",
    "disinfection",
    "packing",
    "day",
)
OFFERS: Final = ("words", "labels", "scans", "proof", "catalogue", "parts")
"""Modules of a room that register what it offers, as they are loaded."""


def load_offers(package: str, rooms: Iterable[str]) -> None:
    """Load what each room of a package offers, in the order of the rooms.

    Args:
        package: The package.
        rooms: Its rooms.
    """
    for room in rooms:
        for offer in OFFERS:
            _module(package, room, offer)


def urls_of(package: str, rooms: Sequence[str]) -> list[URLPattern]:
    """Gather the addresses of the rooms of a package that have pages.

    Later rooms first: what one adds below the path of an earlier room must be asked
    before that room's own ``<path:number>``, which takes everything.

    Args:
        package: The package.
        rooms: Its rooms.

    Returns:
        The addresses.
    """
    found = [_module(package, room, "urls") for room in reversed(rooms)]
    return [each for urls in found if urls is not None for each in urls.urlpatterns]


def _module(package: str, room: str, name: str) -> ModuleType | None:
    full = f"{package}.{room}.{name}"
    return None if find_spec(full) is None else import_module(full)
