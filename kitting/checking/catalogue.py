"""The catalogue's kinds of defect."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.ledger.shelf import Found, names_of, register
from kitting.models import DefectKind


def _defect(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(DefectKind), "part"})
    given = shelf.values(DefectKind, path, row)
    if row.get("part") is not None:
        given["part"] = shelf.one_of(path, row, "part", found.parts)
    shelf.place(path, DefectKind(**given), ("code",), given)


register(defects=_defect)
