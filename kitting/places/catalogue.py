"""The catalogue's places."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.ledger import listing
from kitting.ledger.sections import Found, register, simple
from kitting.models import Place


def _place(found: Found, path: str, row: Mapping[str, Any]) -> None:
    place = simple(found, Place, path, row)
    if place is None:
        found.shelf.unread.add(("place", str(row.get("code"))))
    else:
        found.places[place.code] = place


register(places=_place)
listing.register(places=lambda: listing.as_rows(Place.objects.order_by("pk")))
