"""Inner steps of recipes: what their lines must not be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import Refused
from kitting.models import RecipeLine
from kitting.models.catalogue import Per, Unit

MOST_LINES: Final = 40
MOST_PIECES: Final = 10_000
"""Of a part in one set, or in one box."""


@dataclass(frozen=True)
class LineFacts:
    """How many pieces of which revision a set or a box needs."""

    revision_id: int
    pieces: int
    per: str = Per.SET
    substitute_id: int | None = None
    """Another revision of the part that may be taken in its place."""


def need_lines(lines: Sequence[RecipeLine]) -> None:
    """Refuse lines that make no recipe.

    Args:
        lines: The lines, with parts and revisions, not yet inserted.

    Raises:
        Refused: ``recipe_empty``, ``recipe_part_twice``, ``recipe_counts_pieces``,
            ``recipe_pieces_out_of_range``, ``recipe_substitute``.
    """
    if not any(line.per == Per.SET for line in lines):
        raise Refused("recipe_empty")
    seen = set()
    for line in lines:
        part = line.part
        if part.pk in seen:
            raise Refused("recipe_part_twice", part=part.name)
        seen.add(part.pk)
        if part.unit != Unit.PIECE:
            raise Refused("recipe_counts_pieces", part=part.name)
        if not 1 <= line.pieces <= MOST_PIECES:
            raise Refused(
                "recipe_pieces_out_of_range", part=part.name, most=MOST_PIECES
            )
        other = line.substitute
        if other is not None and (
            other.part_id != part.pk or other.pk == line.revision_id
        ):
            raise Refused("recipe_substitute", part=part.name)
