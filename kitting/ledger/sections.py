"""The sections of a catalogue: each room registers what it reads of the file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final, TypeAlias

from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.shelf import Shelf
from kitting.models import Guarded, Part, Place, Revision, Workshop


@dataclass
class Found:
    """What a catalogue names, by code, as it is found or made."""

    shelf: Shelf
    workshop: Workshop
    today: date
    places: dict[str, Place] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    revisions: dict[str, dict[str, Revision]] = field(default_factory=dict)
    events: list[Guarded] = field(default_factory=list)
    """Guarded rows, which the act writes."""


Section: TypeAlias = Callable[[Found, str, Mapping[str, Any]], None]
SECTIONS: Final[dict[str, Section]] = {}
"""What a catalogue may hold, by name, in the order of the rooms: reads one row."""

ALONE: Final[set[str]] = set()
"""Sections that are one row, not a list of rows."""


def register(**sections: Section) -> None:
    """Add the sections of a room; once, when it is loaded."""
    SECTIONS.update(sections)


def register_one(**sections: Section) -> None:
    """Add sections that are one row each; once, when their room is loaded."""
    register(**sections)
    ALONE.update(sections)


def read_all(data: object, now: datetime) -> Found:
    """Read a whole catalogue and write what is missing; needs a transaction.

    Guarded rows are left to the caller: they belong to its act.

    Args:
        data: What the file says, as JSON is read.
        now: The moment.

    Returns:
        What was added, and every problem: with one, the caller rolls back.
    """
    workshop = locking.lock_row(Workshop, 1)
    found = Found(Shelf(), workshop, day_of(workshop, now))
    shelf = found.shelf
    if not isinstance(data, dict):
        shelf.fault("", data, "catalogue_kind", wanted="a row of sections")
        return found
    shelf.known("", data, SECTIONS)
    found.places = {each.code: each for each in Place.objects.all()}
    found.parts = {each.code: each for each in Part.objects.all()}
    for revision in Revision.objects.select_related("part"):
        by_code = found.revisions.setdefault(revision.part.code, {})
        by_code[revision.code] = revision
    for name, read in SECTIONS.items():
        rows = shelf.alone(data, name) if name in ALONE else shelf.rows(data, name)
        for path, row in rows:
            read(found, path, row)
    return found


def simple(found: Found, model: Any, path: str, row: Mapping[str, Any]) -> Any:
    """A row that is known by its code and names nothing else."""
    given = found.shelf.read(model, path, row)
    return found.shelf.place(path, model(**given), ("code",), given)


def same_lines(
    shelf: Shelf, path: str, there: Any, wanted: list[Any], names: tuple[str, ...]
) -> None:
    """Lines of a recipe or protocol never change: a change is a new version."""

    def plain(rows: Any) -> set[tuple[object, ...]]:
        return {tuple(str(getattr(row, name)) for name in names) for row in rows}

    if plain(there) != plain(wanted):
        shelf.fault(path, f"{len(wanted)} lines", "catalogue_new_version")
