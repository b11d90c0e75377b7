"""The catalogue's benches."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.ledger.shelf import Found, register
from kitting.models import Bench


def _bench(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(Bench, path, row, "place")
    place = shelf.one_of(path, row, "place", found.places)
    if place is not None:
        given["place"] = place
        shelf.place(path, Bench(**given), ("code",), given)


register(benches=_bench)
