"""Inner steps of recipes: what their lines and pairs must not be."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import Final

from kitting.domain.errors import Refused
from kitting.domain.together import Together
from kitting.ledger.pinned import named, only_with
from kitting.models import RecipeLine, RecipePair, RecipeSubstitute, Revision
from kitting.models.catalogue import Per, Unit

MOST_LINES: Final = 40
MOST_PAIRS: Final = 40
MOST_PIECES: Final = 10_000
"""Of a part in one set, or in one box."""


@dataclass(frozen=True)
class LineFacts:
    """How many pieces of which revision a set or a box needs."""

    revision_id: int
    pieces: int
    per: str = Per.SET
    substitute_ids: tuple[int, ...] = ()
    """Revisions that may be taken in its place, of the part or another, the preferred
    first."""
    sets: int | None = None
    """The only box size that needs it, as of a carton; None for all."""


@dataclass(frozen=True)
class PairFacts:
    """That a revision goes only with another."""

    revision_id: int
    other_id: int


@dataclass
class NewLine:
    """A line of a version, with what may be taken in its place, not yet inserted."""

    row: RecipeLine
    instead: list[Revision] = field(default_factory=list)

    @property
    def takes(self) -> list[Revision]:
        """All that fills it, the preferred first."""
        return [self.row.revision, *self.instead]

    @property
    def substitutes(self) -> list[RecipeSubstitute]:
        """The rows of its substitutes."""
        return [
            RecipeSubstitute(line=self.row, nth=nth, revision=each)
            for nth, each in enumerate(self.instead, start=1)
        ]

    @property
    def plain(self) -> tuple[object, ...]:
        """What it says, to compare."""
        row, instead = self.row, [each.pk for each in self.instead]
        said = (row.part_id, row.revision_id, row.pieces, str(row.per), row.sets)
        return *said, *instead


def need_recipe(
    lines: Sequence[NewLine], pairs: Sequence[RecipePair], sizes: Collection[int]
) -> None:
    """Refuse lines and pairs that make no recipe.

    Args:
        lines: The lines, with parts and revisions.
        pairs: What goes only with what, with revisions and parts.
        sizes: How many sets each box size of the product holds.

    Raises:
        Refused: ``recipe_empty``, ``recipe_size_unknown``, ``recipe_part_twice``, ``recipe_counts_pieces``,
            ``recipe_pieces_out_of_range``, ``recipe_revision_twice``, and what is
            refused of pairs.
    """
    if not any(line.row.per == Per.SET and not line.row.sets for line in lines):
        raise Refused("recipe_empty")
    seen: set[int] = set()
    for line in lines:
        part, sets = line.row.part, line.row.sets
        if sets is not None and sets not in sizes:
            raise Refused("recipe_size_unknown", part=part.name, sets=sets)
        if not 1 <= line.row.pieces <= MOST_PIECES:
            raise Refused(
                "recipe_pieces_out_of_range", part=part.name, most=MOST_PIECES
            )
        mine: dict[int, Revision] = {}
        for each in line.takes:
            if each.part_id in seen:
                raise Refused("recipe_part_twice", part=each.part.name)
            if each.part.unit != Unit.PIECE:
                raise Refused("recipe_counts_pieces", part=each.part.name)
            if each.pk in mine:
                raise Refused("recipe_revision_twice", revision=named(each))
            mine[each.pk] = each
        seen |= {each.part_id for each in line.takes}
    _need_pairs(lines, pairs)


def _need_pairs(lines: Sequence[NewLine], pairs: Sequence[RecipePair]) -> None:
    if len(pairs) > MOST_PAIRS:
        raise Refused("too_many_pairs", most=MOST_PAIRS)
    takes = {nth: [one.pk for one in line.takes] for nth, line in enumerate(lines)}
    rule = Together(takes, only_with(pairs))
    seen: set[tuple[int, int]] = set()
    for pair in pairs:
        one, other = pair.revision, pair.other
        for each in (one, other):
            if rule.line_of(each.pk) is None:
                raise Refused("pair_not_in_recipe", revision=named(each))
        if rule.line_of(one.pk) == rule.line_of(other.pk):
            raise Refused("pair_in_one_line", one=named(one), other=named(other))
        if (one.pk, other.pk) in seen:
            raise Refused("pair_twice", one=named(one), other=named(other))
        seen.add((one.pk, other.pk))
    for line in lines:
        for each in line.takes:
            if not rule.completes({each.pk}):
                raise Refused("revision_never_packed", revision=named(each))
