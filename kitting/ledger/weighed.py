"""What a box weighs by what is in it, and how sure the scale of a bench is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from kitting.domain import weighing
from kitting.domain.errors import Refused
from kitting.domain.weighing import Mass, Single, Window, grams
from kitting.models import Bench, BoxSize, Part, Recipe


@dataclass(frozen=True)
class Weighed:
    """Parts of a box with their masses, and its carton."""

    pieces: dict[str, int]
    """By the code of the part."""
    masses: dict[str, Mass]
    tare: Mass | int
    """The carton, where it is no part of the recipe."""
    names: dict[str, str]
    """By the code of the part."""

    def window(self, scale_u: Decimal) -> Window:
        """Give the window of a complete box on a scale of that uncertainty in g."""
        return weighing.window(self.pieces, self.masses, self.tare, scale_u)

    def singles(self, mass_mg: int, scale_u: Decimal) -> tuple[Single, ...]:
        """Name the single pieces, missing or extra, that explain a mass."""
        of = self.pieces, self.masses, self.tare
        return weighing.singles(grams(mass_mg), *of, scale_u)


def weighed(pieces: Mapping[Part, int], carton: Part | None) -> Weighed:
    """Put together what a box weighs.

    Args:
        pieces: Pieces of each part in it; the carton may be one of them.
        carton: What the size says its carton is.

    Returns:
        All of it.

    Raises:
        Refused: ``mass_missing``.
    """
    inside = {part.code: many for part, many in pieces.items() if many}
    apart = carton is not None and carton.code not in inside
    return Weighed(
        pieces=inside,
        masses={part.code: _mass(part) for part, many in pieces.items() if many},
        tare=_mass(carton) if carton is not None and apart else 0,
        names={part.code: part.name for part in pieces},
    )


def _mass(part: Part) -> Mass:
    if not part.mass_mg:
        raise Refused("mass_missing", part=part.name)
    return Mass(grams(part.mass_mg), grams(part.spread_mg or 0))


def by_recipe(size: BoxSize, recipe: Recipe) -> dict[Part, int]:
    """Give the pieces of a box that is packed without substitutes.

    Args:
        size: The size.
        recipe: The version, with its lines and their parts.

    Returns:
        Pieces by part.
    """
    needed = {line.part: line.needed(size.sets) for line in recipe.lines.all()}
    return {part: many for part, many in needed.items() if many}


def scale_u(bench: Bench) -> Decimal:
    """Give the standard uncertainty of a reading at a bench.

    Args:
        bench: The bench.

    Returns:
        The uncertainty in g, with what the step of the scale adds.

    Raises:
        Refused: ``bench_without_scale``.
    """
    if bench.scale_step_mg is None or bench.scale_u_mg is None:
        raise Refused("bench_without_scale", bench=bench.name)
    return weighing.reading_u(grams(bench.scale_step_mg), grams(bench.scale_u_mg))


def lacking(size: BoxSize, recipe: Recipe | None) -> Iterator[Part]:
    """Name the parts without a mass, for want of which a size cannot be weighed.

    Args:
        size: The size, with its carton.
        recipe: The version in force, with lines, substitutes and their parts.

    Yields:
        Each part once, in the order of the recipe, the carton last.
    """
    lines = [] if recipe is None else recipe.lines.all()
    every = [
        part
        for line in lines
        if line.needed(size.sets)
        for part in (
            line.part,
            *(each.revision.part for each in line.substitutes.all()),
        )
    ]
    if size.carton is not None:
        every.append(size.carton)
    yield from (part for part in dict.fromkeys(every) if not part.mass_mg)
