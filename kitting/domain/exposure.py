"""UV-C dose: what a run gave its weakest point, and whether that is enough.

A dose is irradiance times time: 1 mW/cm² for 1 s is 1 mJ/cm² (SI). Runs are computed
in whole numbers only: irradiance in μW/cm², time in ms, dose in μJ/cm². Every figure
that decides something is rounded to the safe side, once, from the exact product.

The dose at a meter's place is not the dose on a part: film absorbs, nested pieces shade
each other. Which dose is required is the protocol's business; nothing here suggests one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal, TypeAlias, TypeVar

from kitting.domain import margins
from kitting.domain.errors import Refused

Side: TypeAlias = Literal["top", "bottom"]
Moment: TypeAlias = Literal["opening", "closing"]
Quantity: TypeAlias = int | float | Decimal | Fraction
_N = TypeVar("_N", float, Decimal, Fraction)

SIDES: tuple[Side, ...] = ("top", "bottom")
MOMENTS: tuple[Moment, ...] = ("opening", "closing")
MILLION = margins.MILLION
MAX_UW_CM2 = 10_000_000_000
"""10 kW/cm² in μW/cm²: no lamp comes near it; more is a slip of the unit."""
WORKER_LIMIT_UJ_CM2 = 6_000
"""Radiant exposure limit at 254 nm within 8 h, 6 mJ/cm² (ICNIRP 2004; NIOSH 73-11009)."""
LONGEST_STAY_S = 86_400
"""The published table of exposure times ends at 24 h."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of the meter on the line."""

    point: int
    """Number of the place on the line's plane."""
    side: Side
    moment: Moment
    uw_cm2: int
    """Irradiance in μW/cm²."""


@dataclass(frozen=True, slots=True)
class SideDose:
    """What one side got at its weakest point."""

    side: Side
    point: int
    """The weakest point."""
    moment: Moment
    """When its lower reading was taken."""
    measured_uj_cm2: int
    """Dose over all passes in μJ/cm², rounded down."""
    low_uj_cm2: int
    """Lower bound of the dose in μJ/cm², rounded down."""
    rel_u_ppm: int = 0
    """Relative expanded uncertainty of the meter or dosimeter that it was read with."""
    by_dosimeter: bool = False
    """Whether a dosimeter showed it; ``point`` is that dosimeter's number then."""


@dataclass(frozen=True, slots=True)
class SideVerdict:
    """One side's lower bound against what its protocol requires."""

    dose: SideDose
    required_uj_cm2: int
    met: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a run met its protocol, with the figures of each required side."""

    passed: bool
    sides: tuple[SideVerdict, ...]


def dose_mj_cm2(irradiance_mw_cm2: _N, seconds: _N, passes: int = 1) -> _N:
    """Give the dose of an even irradiance.

    Args:
        irradiance_mw_cm2: Irradiance in mW/cm², 0 or more.
        seconds: Time of one pass in s, 0 or more.
        passes: How often, 1 or more.

    Returns:
        Dose in mJ/cm², in the kind of number that came in.

    Raises:
        Refused: If a figure is negative, not finite, or no irradiance of this world.

    References:
        SI: 1 mW/cm² for 1 s = 1 mJ/cm² = 10 J/m².
    """
    _refuse(sanity(uw_cm2=irradiance_mw_cm2 * 1000), of=irradiance_mw_cm2)
    _refuse(sanity(passes=passes), of=passes)
    if seconds != 0:
        _refuse(sanity(exposure_ms=seconds), of=seconds)
    return irradiance_mw_cm2 * seconds * passes


def belt_seconds(zone_mm: _N, belt_mm_s: _N) -> _N:
    """Give the time that a belt keeps a part under the lamps.

    Args:
        zone_mm: Length of the lit zone in mm, above 0.
        belt_mm_s: Speed of the belt in mm/s, above 0.

    Returns:
        Time of one pass in s.

    Raises:
        Refused: If the zone has no length or the belt does not move.
    """
    _refuse(sanity(zone_um=zone_mm), of=zone_mm)
    _refuse(sanity(belt_um_s=belt_mm_s), of=belt_mm_s)
    return zone_mm / belt_mm_s


def exposure_ms(zone_um: int, belt_um_s: int) -> int:
    """Give the time of one pass under a belt's lamps, rounded down.

    Args:
        zone_um: Length of the lit zone in μm, above 0.
        belt_um_s: Speed of the belt in μm/s, above 0.

    Returns:
        Time of one pass in whole ms; 0 when the belt is faster than that.

    Raises:
        Refused: If the zone has no length or the belt does not move.
    """
    _refuse(sanity(zone_um=zone_um), of=zone_um)
    _refuse(sanity(belt_um_s=belt_um_s), of=belt_um_s)
    return zone_um * 1000 // belt_um_s


def run_dose(
    readings: Iterable[Reading],
    *,
    exposure_ms: int,
    passes: int,
    rel_u_ppm: int,
    belt_u_ppm: int = 0,
    decline_ppm: int = 0,
) -> dict[Side, SideDose]:
    """Give each side's dose at its weakest point, and the lower bound of it.

    The weakest reading of a side counts, be it at opening or at closing: lamps fade
    and foul while a run lasts. A reading of 0 is a dark lamp and gives a dose of 0.

    Args:
        readings: Every reading of the run, in any order; where a point was read
            twice at one moment, the lower reading counts.
        exposure_ms: Time of one pass in ms, above 0.
        passes: How often each part passed, 1 or more.
        rel_u_ppm: Relative expanded uncertainty of the meter in ppm, below 1,000,000.
        belt_u_ppm: The same of the belt's speed, or of the time where nothing moves.
        decline_ppm: By how much the lamps may have been weaker than they were read;
            how the three combine is told in :mod:`kitting.domain.margins`.

    Returns:
        By side, top first; only sides that were read.

    Raises:
        Refused: If a figure is absurd, or a point was read at opening but not at
            closing or the other way round.

    References:
        JCGM 100:2008 (GUM) 5.1.6; see :mod:`kitting.domain.margins`.
    """
    found = tuple(readings)
    _refuse(sanity(exposure_ms=exposure_ms), of=exposure_ms)
    _refuse(sanity(passes=passes), of=passes)
    margin = margins.margin_ppm(rel_u_ppm, belt_u_ppm, decline_ppm)
    for reading in found:
        _refuse(sanity(uw_cm2=reading.uw_cm2), of=reading.uw_cm2)
    doses: dict[Side, SideDose] = {}
    for side in SIDES:
        here = [reading for reading in found if reading.side == side]
        if not here:
            continue
        _check_both_moments(here)
        weakest = min(here, key=lambda r: (r.uw_cm2, r.point, MOMENTS.index(r.moment)))
        product = weakest.uw_cm2 * exposure_ms * passes
        doses[side] = SideDose(
            side=side,
            point=weakest.point,
            moment=weakest.moment,
            measured_uj_cm2=product // 1000,
            low_uj_cm2=margins.low(product, margin, 1000),
            rel_u_ppm=rel_u_ppm,
        )
    return doses


def verdict(doses: Mapping[Side, SideDose], required: Mapping[Side, int]) -> Verdict:
    """Tell whether the lower bound meets the protocol on every side it requires.

    Args:
        doses: What :func:`run_dose` gave.
        required: Dose in μJ/cm², above 0, for each side that the protocol requires.

    Returns:
        The verdict, with the figures of each required side, top first.

    Raises:
        Refused: If nothing is required (everything would pass), a required dose is
            not above 0, or a required side was not read.
    """
    if not required:
        raise Refused("no_dose_required")
    sides: list[SideVerdict] = []
    for side in sorted(required, key=SIDES.index):
        if required[side] <= 0:
            raise Refused("dose_not_positive", value=required[side])
        if side not in doses:
            raise Refused("side_not_read", side=side)
        met = doses[side].low_uj_cm2 >= required[side]
        sides.append(SideVerdict(doses[side], required[side], met))
    return Verdict(passed=all(side.met for side in sides), sides=tuple(sides))


def sanity(
    *,
    uw_cm2: Quantity | None = None,
    exposure_ms: Quantity | None = None,
    zone_um: Quantity | None = None,
    belt_um_s: Quantity | None = None,
    passes: int | None = None,
    rel_u_ppm: int | None = None,
) -> tuple[str, ...]:
    """Name what is absurd about figures, for a form to refuse or to question.

    Args:
        uw_cm2: Irradiance in μW/cm². Zero is named, but a run accepts it as a reading
            of a dark lamp.
        exposure_ms: Time of one pass in ms.
        zone_um: Length of the lit zone in μm.
        belt_um_s: Speed of the belt in μm/s.
        passes: Number of passes.
        rel_u_ppm: Relative expanded uncertainty in ppm.

    Returns:
        Codes, one for each figure given that makes no sense; empty when all do.
    """
    codes: list[str] = []
    if uw_cm2 is not None:
        codes.extend(_irradiance_codes(uw_cm2))
    above_zero: tuple[tuple[Quantity | None, str], ...] = (
        (exposure_ms, "exposure_not_positive"),
        (zone_um, "zone_not_positive"),
        (belt_um_s, "belt_not_moving"),
        (passes, "passes_not_positive"),
    )
    for value, code in above_zero:
        if value is not None and (not _finite(value) or value <= 0):
            codes.append(code)
    if rel_u_ppm is not None and not 0 <= rel_u_ppm < MILLION:
        codes.append("uncertainty_out_of_range")
    return tuple(codes)


def shortest_ms(
    *, required_uj_cm2: int, uw_cm2: int, passes: int = 1, rel_u_ppm: int = 0
) -> int:
    """Give the shortest pass whose lower bound still meets a required dose.

    Args:
        required_uj_cm2: Required dose in μJ/cm², above 0.
        uw_cm2: Irradiance at the weakest point in μW/cm², above 0.
        passes: How often each part passes, 1 or more.
        rel_u_ppm: Share that the lower bound leaves out in ppm, below 1,000,000: the
            meter's uncertainty alone, or the margin of :mod:`kitting.domain.margins`.

    Returns:
        Time of one pass in ms, rounded up: one millisecond less would fail.

    Raises:
        Refused: If a figure is absurd.
    """
    if required_uj_cm2 <= 0:
        raise Refused("dose_not_positive", value=required_uj_cm2)
    if uw_cm2 == 0:
        raise Refused("irradiance_zero", value=uw_cm2)
    _refuse(sanity(uw_cm2=uw_cm2), of=uw_cm2)
    _refuse(sanity(passes=passes), of=passes)
    _refuse(sanity(rel_u_ppm=rel_u_ppm), of=rel_u_ppm)
    needed = required_uj_cm2 * 1000 * MILLION
    return -(-needed // (uw_cm2 * passes * (MILLION - rel_u_ppm)))


def fastest_belt_um_s(
    *,
    required_uj_cm2: int,
    uw_cm2: int,
    zone_um: int,
    passes: int = 1,
    rel_u_ppm: int = 0,
) -> int:
    """Give the fastest belt whose lower bound still meets a required dose.

    Args:
        required_uj_cm2: Required dose in μJ/cm², above 0.
        uw_cm2: Irradiance at the weakest point in μW/cm², above 0.
        zone_um: Length of the lit zone in μm, above 0.
        passes: How often each part passes, 1 or more.
        rel_u_ppm: As for :func:`shortest_ms`.

    Returns:
        Speed in μm/s, rounded down: one μm/s more would fail.

    Raises:
        Refused: If a figure is absurd, or even 1 μm/s would be too fast.
    """
    _refuse(sanity(zone_um=zone_um), of=zone_um)
    needed_ms = shortest_ms(
        required_uj_cm2=required_uj_cm2,
        uw_cm2=uw_cm2,
        passes=passes,
        rel_u_ppm=rel_u_ppm,
    )
    speed = zone_um * 1000 // needed_ms
    if speed == 0:
        raise Refused("dose_out_of_reach", required=required_uj_cm2, needed=needed_ms)
    return speed


def longest_stay_s(uw_cm2: Quantity) -> int:
    """Give how long a person may stay in this irradiance at 254 nm within a day.

    Args:
        uw_cm2: Irradiance on unprotected eyes or skin in μW/cm², 0 or more.

    Returns:
        Time in whole seconds, rounded down, at most 24 h; 0 means not even a second.

    Raises:
        Refused: If the irradiance is negative, not finite, or above 10 kW/cm².

    References:
        ICNIRP 2004 and NIOSH 73-11009: 6 mJ/cm² at 254 nm within 8 h; their table of
        exposure times is checked in tests/kitting/domain/test_exposure.py.
    """
    _refuse(sanity(uw_cm2=uw_cm2), of=uw_cm2)
    if uw_cm2 == 0:
        return LONGEST_STAY_S
    # The shortest decimal of a float is what the meter showed: 0.2 is one fifth.
    exact = Fraction(str(uw_cm2))
    return min(LONGEST_STAY_S, math.floor(WORKER_LIMIT_UJ_CM2 / exact))


def keitz_mw_cm2(power_w: float, length_m: float, distance_m: float) -> float:
    """Estimate the irradiance opposite the middle of a bare tubular lamp.

    For planning only: no reflector, no window, no neighbour, clean and new. A run is
    judged by readings, never by this.

    Args:
        power_w: UV-C output of the lamp in W, above 0.
        length_m: Arc length in m, above 0.
        distance_m: Distance from the lamp's axis in m, above 0.

    Returns:
        Irradiance in mW/cm².

    Raises:
        Refused: If a figure is not above 0, or not finite.

    References:
        Keitz: E = P (2a + sin 2a) / (2 π² D L) with a = atan(L / 2D); IUVA protocol
        for low-pressure 254 nm lamps. Cases in tests/data/worked-examples.
    """
    for value in (power_w, length_m, distance_m):
        if not _finite(value) or value <= 0:
            raise Refused("lamp_figure_not_positive", value=value)
    half = math.atan(length_m / (2 * distance_m))
    w_m2 = power_w * (2 * half + math.sin(2 * half))
    w_m2 /= 2 * math.pi**2 * distance_m * length_m
    return w_m2 / 10


# A point that was read only once in the run says nothing about the rest of it.
def _check_both_moments(readings: list[Reading]) -> None:
    seen = {(reading.point, reading.moment) for reading in readings}
    for point in sorted({point for point, _ in seen}):
        for moment in MOMENTS:
            if (point, moment) not in seen:
                raise Refused(
                    "reading_missing",
                    side=readings[0].side,
                    point=point,
                    moment=moment,
                )


def _irradiance_codes(uw_cm2: Quantity) -> list[str]:
    if not _finite(uw_cm2):
        return ["irradiance_not_a_number"]
    if uw_cm2 < 0:
        return ["irradiance_negative"]
    if uw_cm2 == 0:
        return ["irradiance_zero"]
    return ["irradiance_too_high"] if uw_cm2 > MAX_UW_CM2 else []


# Not math.isfinite for all: it overflows on whole numbers above 10 to the 308.
def _finite(value: Quantity) -> bool:
    if isinstance(value, Decimal):
        return value.is_finite()
    return not isinstance(value, float) or math.isfinite(value)


# A zero irradiance is a reading like another: the run then fails by its dose.
def _refuse(codes: tuple[str, ...], *, of: Quantity) -> None:
    for code in codes:
        if code != "irradiance_zero":
            raise Refused(code, value=of)
