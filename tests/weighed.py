"""A size that is weighed, at a bench with a scale."""

from __future__ import annotations

from decimal import Decimal

from kitting.models import Bench, BoxSize, Part
from tests import factories
from tests.benches import Packing

# 6 headbands of 36 g, 12 visors of 37 g, a manual of 4.5 g, the carton of 180 g.
WHOLE_G = 6 * 36 + 12 * 37 + Decimal("4.5") + 180
MASSES = {"Headband": (36_000, 700), "Visor": (37_000, 500), "Manual": (4_500, 50)}
STEP_G, SCALE_U_G = 1, 1
LESS_MG = int((WHOLE_G - 36) * 1000)
"""Of a box that lacks a headband."""


def weigh(at: Packing, *, spread: bool = True) -> Part:
    """Let boxes of the size be weighed, on a scale of 1 g, and give the carton."""
    for name, (mass, sd) in MASSES.items():
        Part.objects.filter(name=name).update(
            mass_mg=mass, spread_mg=sd if spread else None
        )
    carton = factories.make_part(name="Carton", mass_mg=180_000, spread_mg=1_000)
    BoxSize.objects.filter(pk=at.size.pk).update(weigh=True, carton=carton)
    Bench.objects.filter(pk=at.bench.pk).update(
        scale_step_mg=STEP_G * 1000,
        scale_u_mg=SCALE_U_G * 1000,
        scale_most_mg=30_000_000,
    )
    at.bench.refresh_from_db()
    factories.seal_set_up()
    return carton
