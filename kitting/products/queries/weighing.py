"""What the scale can and cannot notice of a box size, for the page that sets it up."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from kitting.domain.weighing import Window
from kitting.ledger.pinned import WITH_PINNED
from kitting.ledger.weighed import by_recipe, lacking, scale_u, weighed
from kitting.models import Bench, BoxSize, Part
from kitting.web.figures import NARROW, spread


@dataclass(frozen=True)
class Noticed:
    """One part of a box, and how often the scale notices that a piece is missing."""

    part: Part
    pieces: int
    chance: float

    @property
    def of_hundred(self) -> int:
        """In so many of 100 boxes, rounded down: never more than is so."""
        return int(self.chance * 100)

    @property
    def always(self) -> bool:
        """In more than 999 of 1,000."""
        return self.chance > 0.999


@dataclass(frozen=True)
class SizeWeighing:
    """What weighing boxes of a size would notice, or what it lacks."""

    lacks: list[str] = field(default_factory=list)
    """Names of parts without a mass."""
    no_carton: bool = False
    no_recipe: bool = False
    bench: Bench | None = None
    """The bench whose scale is the least sure of those in use; None without any."""
    window: Window | None = None
    """On that scale."""
    parts: list[Noticed] = field(default_factory=list)
    no_spread: list[str] = field(default_factory=list)
    """Names of parts of whose spread nothing is known."""

    @property
    def figures(self) -> tuple[str, ...]:
        """Expected, lowest and highest mass, to a tenth of a g, the window outwards."""
        if self.window is None:
            return ()
        found = self.window
        ways = (
            (found.expected_g, ROUND_HALF_EVEN),
            (found.low_g, ROUND_FLOOR),
            (found.high_g, ROUND_CEILING),
        )
        tenth = Decimal("0.1")
        return tuple(
            f"{spread(str(g.quantize(tenth, way)))}{NARROW}g" for g, way in ways
        )


def size_weighing(size: BoxSize) -> SizeWeighing:
    """Work out what the scale notices of boxes of a size, by the recipe in force.

    Args:
        size: The size, with its carton.

    Returns:
        All of it.
    """
    recipes = size.product.recipes.filter(in_force=True)
    recipe = recipes.prefetch_related(*WITH_PINNED).first()
    lacks = [part.name for part in lacking(size, recipe)]
    bench = _worst()
    if recipe is None or size.carton is None or lacks or bench is None:
        return SizeWeighing(lacks, size.carton is None, recipe is None, bench)
    pieces = by_recipe(size, recipe)
    window = weighed(pieces, size.carton).window(scale_u(bench))
    every = [*pieces, *(() if size.carton in pieces else (size.carton,))]
    return SizeWeighing(
        bench=bench,
        window=window,
        parts=[
            Noticed(part, many, window.noticed[part.code])
            for part, many in pieces.items()
        ],
        no_spread=[part.name for part in every if part.spread_mg is None],
    )


def _worst() -> Bench | None:
    with_scale = Bench.objects.filter(active=True, scale_step_mg__isnull=False)
    sure: dict[Bench, Decimal] = {bench: scale_u(bench) for bench in with_scale}
    return max(sure, key=lambda bench: sure[bench], default=None)
