"""Doses that come from elsewhere than readings: dosimeters, and what a part has had."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kitting.domain import exposure, margins
from kitting.domain.errors import Refused
from kitting.domain.exposure import Reading, Side, SideDose

MAX_UJ_CM2 = 10_000_000_000
"""10 kJ/cm² in μJ/cm²: no dosimeter reads it; more is a slip of the unit."""


@dataclass(frozen=True, slots=True)
class Dosed:
    """What one dosimeter showed after it went through with the parts."""

    nth: int
    side: Side
    uj_cm2: int
    """Dose over all passes in μJ/cm²."""
    rel_u_ppm: int
    """Its own relative expanded uncertainty (k = 2) in ppm."""


def with_dosimeters(
    doses: Mapping[Side, SideDose],
    dosimeters: Iterable[Dosed],
    *,
    belt_u_ppm: int = 0,
    decline_ppm: int = 0,
) -> dict[Side, SideDose]:
    """Give the doses that count: per side the one with the lowest lower bound.

    Dosimeters stand instead of readings, or beside them; beside them the weaker
    evidence decides. A dosimeter went through once: another bag may have met a faster
    belt and weaker lamps, so the belt's uncertainty and the decline count for it too.

    Args:
        doses: What the readings give, by side; may be empty.
        dosimeters: What was carried through; may be empty.
        belt_u_ppm: Of the belt's speed or the time: relative, k = 2, in ppm.
        decline_ppm: By how much the lamps may have been weaker at another time.

    Returns:
        By side, top first.

    Raises:
        Refused: ``dosimeter_dose_out_of_range``, or what :func:`margins.margin_ppm`
            refuses.
    """
    found = dict(doses)
    for each in dosimeters:
        if not 0 <= each.uj_cm2 <= MAX_UJ_CM2:
            raise Refused("dosimeter_dose_out_of_range", value=each.uj_cm2)
        margin = margins.margin_ppm(each.rel_u_ppm, belt_u_ppm, decline_ppm)
        dose = SideDose(
            side=each.side,
            point=each.nth,
            moment="closing",
            measured_uj_cm2=each.uj_cm2,
            low_uj_cm2=margins.low(each.uj_cm2, margin),
            rel_u_ppm=each.rel_u_ppm,
            by_dosimeter=True,
        )
        other = found.get(each.side)
        if other is None or _strength(dose) < _strength(other):
            found[each.side] = dose
    return {side: found[side] for side in exposure.SIDES if side in found}


def _strength(dose: SideDose) -> tuple[int, int]:
    return dose.low_uj_cm2, dose.measured_uj_cm2


def largest_uj_cm2(
    readings: Iterable[Reading],
    dosed: Iterable[Dosed],
    *,
    exposure_ms: int,
    passes: int,
    rel_u_ppm: int = 0,
    belt_u_ppm: int = 0,
) -> int:
    """Give the largest dose that a part may have had in a run, on either side.

    For what a material can take the strongest point counts, not the weakest, and of
    its dose the upper bound. A decline of the lamps only makes a dose smaller: it does
    not count here.

    Args:
        readings: Every reading of the run; may be empty.
        dosed: What dosimeters showed; may be empty.
        exposure_ms: Time of one pass in ms.
        passes: Number of passes.
        rel_u_ppm: Relative expanded uncertainty (k = 2) of the meter in ppm.
        belt_u_ppm: The same of the time in the light.

    Returns:
        Dose in μJ/cm², rounded up; 0 where nothing was measured.
    """
    strongest = max((reading.uw_cm2 for reading in readings), default=0)
    lit = strongest * exposure_ms * passes
    share = margins.combined_ppm(rel_u_ppm, belt_u_ppm)
    bounds = [margins.high(lit, share, 1000)]
    bounds += [
        margins.high(each.uj_cm2, margins.combined_ppm(each.rel_u_ppm, belt_u_ppm))
        for each in dosed
    ]
    return max(bounds)
