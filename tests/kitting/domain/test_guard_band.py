"""The guard band by simulation: who passes at exactly the required dose.

The model. A run truly gives its weakest point exactly the required dose, no more. What
is measured of it is wrong in three ways:

- the meter: shown irradiance = true irradiance × (1 + e₁), one e₁ for the whole run,
  normal with mean 0 and standard deviation U/2 (U is the expanded uncertainty, k = 2);
- the belt: stated speed = true speed × (1 + e₂), normal in the same way;
- the lamps: over the run they are weaker than they were read by up to the allowance;
  the worst is simulated, so that the true dose is what was read less the whole of it.

The meter is read at three points at opening and closing; the other points are stronger.
A run passes wrongly when its lower bound still meets the requirement. With a guard band
of the whole expanded uncertainty (JCGM 106:2012, 8.3.2, clause from memory) that is at
most the share of a normal distribution above two standard deviations, 2.28 %, so under
the 2.5 % that k = 2 stands for. Without it, half of them would pass.
"""

from __future__ import annotations

import numpy as np
import pytest

from kitting.domain import exposure
from kitting.domain.doses import Dosed, with_dosimeters
from kitting.domain.exposure import Reading

REQUIRED = 1_000_000
ZONE_UM = 500_000
RUNS = 20_000
MOST_WRONG = 0.025


def passes(
    rng: np.random.Generator,
    meter_ppm: int,
    belt_ppm: int,
    decline_ppm: int,
    *,
    guarded: bool = True,
) -> float:
    """The share of runs at exactly the required dose that are released."""
    released = 0
    e_meter = rng.normal(0, meter_ppm / 2e6, RUNS)
    e_belt = rng.normal(0, belt_ppm / 2e6, RUNS)
    stronger = rng.uniform(1.0, 1.2, (RUNS, 2, 2))
    for e1, e2, factors in zip(e_meter, e_belt, stronger, strict=True):
        speed_um_s = 2_000.0
        true_uw = REQUIRED * speed_um_s / ZONE_UM
        read = true_uw / (1 - decline_ppm / 1e6) * (1 + e1)
        figures = [(1, read, read)]
        figures += [(n + 2, read * a, read * b) for n, (a, b) in enumerate(factors)]
        readings = [
            Reading(point, "top", moment, round(value))
            for point, *both in figures
            for moment, value in zip(exposure.MOMENTS, both, strict=True)
        ]
        doses = exposure.run_dose(
            readings,
            exposure_ms=exposure.exposure_ms(ZONE_UM, round(speed_um_s * (1 + e2))),
            passes=1,
            rel_u_ppm=meter_ppm if guarded else 0,
            belt_u_ppm=belt_ppm if guarded else 0,
            decline_ppm=decline_ppm,
        )
        released += exposure.verdict(doses, {"top": REQUIRED}).passed
    return released / RUNS


@pytest.mark.parametrize(
    ("meter_ppm", "belt_ppm", "decline_ppm"),
    [
        (80_000, 0, 0),
        (80_000, 30_000, 0),
        (80_000, 30_000, 50_000),
        (50_000, 50_000, 20_000),
        (250_000, 100_000, 150_000),
        (20_000, 200_000, 0),
    ],
)
def test_at_most_one_run_in_forty_at_exactly_the_required_dose_passes(
    meter_ppm: int, belt_ppm: int, decline_ppm: int
) -> None:
    rng = np.random.default_rng(20260114)
    share = passes(rng, meter_ppm, belt_ppm, decline_ppm)
    # The bound does not refuse them all: what it costs is what was asked for.
    assert 0.0005 < share <= MOST_WRONG


def test_without_the_guard_band_half_of_them_would_pass() -> None:
    rng = np.random.default_rng(20260114)
    share = passes(rng, 80_000, 30_000, 50_000, guarded=False)
    assert 0.4 < share < 0.6


def test_belt_uncertainty_left_out_lets_too_many_pass() -> None:
    """The simulation sees what the combination is for."""
    rng = np.random.default_rng(20260114)
    meter_ppm, belt_ppm = 50_000, 100_000
    e_meter = rng.normal(0, meter_ppm / 2e6, RUNS)
    e_belt = rng.normal(0, belt_ppm / 2e6, RUNS)
    measured = REQUIRED * (1 + e_meter) / (1 + e_belt)
    wrongly = np.mean(measured * (1 - meter_ppm / 1e6) >= REQUIRED)
    assert wrongly > 2 * MOST_WRONG


def test_at_most_one_run_in_forty_passes_by_a_dosimeter() -> None:
    rng = np.random.default_rng(20260115)
    own_ppm, belt_ppm, decline_ppm = 120_000, 30_000, 20_000
    shown = (
        REQUIRED
        / (1 - decline_ppm / 1e6)
        * (1 + rng.normal(0, own_ppm / 2e6, RUNS))
        * (1 + rng.normal(0, belt_ppm / 2e6, RUNS))
    )
    released = 0
    for figure in shown:
        doses = with_dosimeters(
            {},
            [Dosed(1, "top", int(figure), own_ppm)],
            belt_u_ppm=belt_ppm,
            decline_ppm=decline_ppm,
        )
        released += exposure.verdict(doses, {"top": REQUIRED}).passed
    assert 0.0005 < released / RUNS <= MOST_WRONG
