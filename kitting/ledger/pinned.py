"""What a recipe pins: what fills its lines, and which of that goes together."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from kitting.domain.errors import Refused
from kitting.domain.together import Together
from kitting.ledger.kept import Kept, foresee
from kitting.models import (
    Bag,
    Recipe,
    RecipeLine,
    RecipePair,
    RecipeSubstitute,
    Revision,
)


@dataclass(frozen=True)
class Pinned:
    """A version of a recipe, as boxes are filled by it."""

    lines: list[RecipeLine]
    takes: dict[int, list[Revision]]
    """Revisions by the id of the line that takes them, the preferred
    first."""
    together: Together

    def lines_for(self, sets: int) -> list[RecipeLine]:
        """The lines of which a box of so many sets needs something."""
        return [line for line in self.lines if line.needed(sets)]

    def line_of(self, part_id: int) -> RecipeLine | None:
        """The line that a part is for, in whatever revision; it is for one only."""
        for line in self.lines:
            if any(each.part_id == part_id for each in self.takes[line.pk]):
                return line
        return None

    def rank(self, bag: Bag) -> tuple[int, int]:
        """Where a bag comes when several lie ready: by line, the preferred first."""
        for nth, line in enumerate(self.lines):
            ids = [each.pk for each in self.takes[line.pk]]
            if bag.lot.revision_id in ids:
                return nth, ids.index(bag.lot.revision_id)
        return len(self.lines), 0

    def not_pinned(self, bag: Bag) -> Refused | None:
        """Why no line takes a bag.

        Args:
            bag: The bag, with lot and part.

        Returns:
            ``part_not_in_recipe``, ``revision_not_pinned``, or None.
        """
        lot = bag.lot
        line = self.line_of(lot.part_id)
        if line is None:
            return Refused("part_not_in_recipe", bag=bag.number, part=lot.part.name)
        taken = self.takes[line.pk]
        if any(each.pk == lot.revision_id for each in taken):
            return None
        return Refused(
            "revision_not_pinned",
            bag=bag.number,
            revision=lot.revision.code,
            wanted=", ".join(named(each, lot.part_id) for each in taken),
        )

    def apart(self, bag: Bag, inside: Collection[int]) -> Refused | None:
        """Why a bag that a line takes does not go with what lies in a box.

        Args:
            bag: The bag, with lot and part.
            inside: Ids of the revisions that lie in the box.

        Returns:
            ``revisions_apart``, or None.
        """
        rule, own = self.together, bag.lot.revision_id
        line = rule.line_of(own)
        if not rule.only or line is None or rule.completes({*inside, own}):
            return None
        known = {each.pk: each for taken in self.takes.values() for each in taken}
        others = [one for one in sorted(inside) if one in known and one != own]
        # Two that go together may leave nothing of a third part that goes with both.
        against = [one for one in others if not rule.goes(one, own)] or others
        if not against:
            return None
        return Refused(
            "revisions_apart",
            bag=bag.number,
            what=named(known[own]),
            inside=named(known[against[0]]),
            wanted=", ".join(named(known[one]) for one in rule.fitting(line, inside)),
        )


NOTHING: Final = Pinned([], {}, Together({}, {}))
"""What a version without lines pins."""


def named(revision: Revision, part_id: int | None = None) -> str:
    """Give a revision in words.

    Args:
        revision: The revision.
        part_id: The part beside which it is named; of the same one its code will do.

    Returns:
        Its words.
    """
    if revision.part_id == part_id:
        return revision.code
    return f"{revision.part.name} revision {revision.code}"


def pinned_by(recipe_id: int) -> Pinned:
    """Read what a version of a recipe pins.

    Args:
        recipe_id: The version.

    Returns:
        All of it.
    """
    lines = _LINES(recipe_id)
    some = lines[0] if lines else RecipeLine()
    return pinned(
        lines,
        _SUBSTITUTES(recipe_id) if some.substituted else (),
        _PAIRS(recipe_id) if some.paired else (),
    )


def asked_of(recipe_id: int) -> list[tuple[Kept[Any], int]]:
    """What ``pinned_by`` is going to ask, to be foreseen."""
    return [(kept, recipe_id) for kept in (_LINES, _SUBSTITUTES, _PAIRS)]


def _lines(recipe: int) -> QuerySet[RecipeLine]:
    """The lines; each says whether there is more to ask of the version."""
    of = OuterRef("recipe")
    more = {
        "substituted": Exists(RecipeSubstitute.objects.filter(line__recipe=of)),
        "paired": Exists(RecipePair.objects.filter(recipe=of)),
    }
    lines = RecipeLine.objects.filter(recipe=recipe).annotate(**more)
    return lines.select_related("part", "revision").order_by("pk")


_LINES = Kept(_lines, lasts=True)
_SUBSTITUTES = Kept(
    lambda recipe: (
        RecipeSubstitute.objects.filter(line__recipe=recipe)
        .select_related("revision")
        .order_by("line", "nth")
    ),
    lasts=True,
)
_PAIRS = Kept(
    lambda recipe: RecipePair.objects.filter(recipe=recipe).order_by("pk"), lasts=True
)


def pinned(
    lines: list[RecipeLine],
    substitutes: Iterable[RecipeSubstitute],
    pairs: Iterable[RecipePair],
) -> Pinned:
    """Put together what a version pins, out of its rows.

    Args:
        lines: Its lines.
        substitutes: What may be taken in their place, in its order.
        pairs: What goes only with what.

    Returns:
        All of it.
    """
    takes = {line.pk: [line.revision] for line in lines}
    for each in substitutes:
        takes[each.line_id].append(each.revision)
    ids = {line: [each.pk for each in taken] for line, taken in takes.items()}
    return Pinned(lines, takes, Together(ids, only_with(pairs)))


def only_with(pairs: Iterable[RecipePair]) -> dict[int, set[int]]:
    """Give what goes only with what.

    Args:
        pairs: The pairs of a version.

    Returns:
        By the id of a revision, the ids of those beside which alone it goes.
    """
    only: dict[int, set[int]] = {}
    for pair in pairs:
        only.setdefault(pair.revision_id, set()).add(pair.other_id)
    return only


def _rows_of(
    only: QuerySet[Recipe],
) -> tuple[Kept[RecipeLine], Kept[RecipeSubstitute], Kept[RecipePair]]:
    """What some versions pin, asked for by no value."""
    lines = RecipeLine.objects.filter(recipe__in=only).order_by("pk")
    substitutes = RecipeSubstitute.objects.filter(line__recipe__in=only)
    pairs = RecipePair.objects.filter(recipe__in=only).order_by("pk")
    return (
        Kept(lambda: lines.select_related("part", "revision", "recipe")),
        Kept(
            lambda: substitutes.select_related("line", "revision").order_by(
                "line", "nth"
            )
        ),
        Kept(lambda: pairs),
    )


_EVERY: Final = _rows_of(Recipe.objects.all())
_IN_FORCE: Final = _rows_of(Recipe.objects.filter(in_force=True))


def every_pinned(*, in_force: bool = False) -> Iterator[tuple[int, Pinned]]:
    """Read what every version of every recipe pins.

    Args:
        in_force: Whether only versions in force are read.

    Yields:
        The id of the version, and what it pins.
    """
    all_lines, all_substitutes, all_pairs = _IN_FORCE if in_force else _EVERY
    foresee((all_lines,), (all_substitutes,), (all_pairs,))
    lines: dict[int, list[RecipeLine]] = {}
    for line in all_lines():
        lines.setdefault(line.recipe_id, []).append(line)
    substitutes: dict[int, list[RecipeSubstitute]] = {}
    for row in all_substitutes():
        substitutes.setdefault(row.line.recipe_id, []).append(row)
    pairs: dict[int, list[RecipePair]] = {}
    for pair in all_pairs():
        pairs.setdefault(pair.recipe_id, []).append(pair)
    for recipe, of in lines.items():
        yield recipe, pinned(of, substitutes.get(recipe, []), pairs.get(recipe, []))


WITH_PINNED: Final = (
    Prefetch(
        "lines",
        RecipeLine.objects.select_related("part", "revision__part").order_by("pk"),
    ),
    Prefetch(
        "lines__substitutes", RecipeSubstitute.objects.select_related("revision__part")
    ),
    Prefetch(
        "pairs",
        RecipePair.objects.select_related("revision__part", "other__part").order_by(
            "revision__part__name", "revision__code", "pk"
        ),
    ),
)
"""What pages read with versions of a recipe."""
