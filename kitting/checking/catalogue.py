"""The catalogue's kinds of defect."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.ledger import listing
from kitting.ledger.sections import Found, register
from kitting.models import DefectKind


def _defect(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(DefectKind, path, row, "part")
    if row.get("part") is not None:
        given["part"] = shelf.one_of(path, row, "part", found.parts)
    shelf.place(path, DefectKind(**given), ("code",), given)


def _defects() -> list[listing.Row]:
    rows = DefectKind.objects.select_related("part").order_by("pk")
    return [
        listing.as_row(row, part=row.part.code if row.part else None) for row in rows
    ]


register(defects=_defect)
listing.register(defects=_defects)
