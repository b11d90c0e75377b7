"""The catalogue's yields: what materials give at most."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.ledger import listing
from kitting.ledger.sections import Found, register
from kitting.models import Yield


def _yield(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(Yield, path, row, "part", "material")
    part = shelf.one_of(path, row, "part", found.parts)
    material = shelf.one_of(path, row, "material", found.parts)
    if part is not None and material is not None:
        new = Yield(part=part, material=material, **given)
        shelf.place(path, new, ("part", "material"), given)


def _yields() -> list[listing.Row]:
    rows = Yield.objects.select_related("part", "material").order_by("pk")
    return [
        listing.as_row(row, part=row.part.code, material=row.material.code)
        for row in rows
    ]


register(yields=_yield)
listing.register(yields=_yields)
