"""When a reference sample is of other pieces: against scipy, simulation and hand."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from kitting.domain import masses
from kitting.domain.errors import CodeError, Refused
from kitting.domain.masses import piece_range


def test_four_deviations_are_one_piece_in_sixteen_thousand():
    """scipy.stats.norm: what lies outside of four standard deviations, both ways."""
    assert 2 * stats.norm.sf(masses.FAR) == pytest.approx(1 / 16_000, rel=0.02)


@pytest.mark.parametrize(
    ("known", "sample", "expected"),
    [
        # By hand: 5 ± 4 × 0.05, with a scale that adds nothing.
        ((5, "0.05"), (10, 0), ("4.8", "5.2")),
        # 4 × √(0.03² + (0.4/10)²) = 4 × 0.05: Pythagoras' 3, 4, 5.
        ((5, "0.03"), (10, "0.4"), ("4.8", "5.2")),
        # No spread is known: a fifth to either side, whatever the scale.
        ((5, None), (10, "0.4"), ("4", "6")),
        (("2.4", 0), (10, 0), ("1.92", "2.88")),
        # Never below nothing.
        ((1, "0.5"), (1, 0), ("0", "3")),
    ],
)
def test_the_range_worked_by_hand(known, sample, expected):
    found = piece_range(*known, reference_pieces=sample[0], scale_u_g=sample[1])
    assert found == tuple(map(Decimal, expected))


def test_the_range_is_rounded_outwards():
    low, high = piece_range(Decimal("1.00003"), None, reference_pieces=1, scale_u_g=0)
    assert (low, high) == (Decimal("0.8000"), Decimal("1.2001"))
    low, high = piece_range(1, Decimal("0.03333"), reference_pieces=3, scale_u_g="0.01")
    far = masses.FAR * (0.03333**2 + (0.01 / 3) ** 2) ** 0.5
    assert float(low) <= 1 - far < float(low) + 0.0002
    assert float(high) >= 1 + far > float(high) - 0.0002


def test_the_right_pieces_are_hardly_ever_asked_about():
    """Simulated: single pieces, the hardest case, of a normal spread."""
    rng = np.random.default_rng(20260114)
    scale, mass, spread = 0.05, 5.0, 0.1
    low, high = piece_range(mass, spread, reference_pieces=1, scale_u_g=scale)
    read = rng.normal(mass, spread, 100_000) + rng.normal(0, scale, 100_000)
    asked = np.mean((read < float(low)) | (read > float(high)))
    assert asked == pytest.approx(2 * stats.norm.sf(4), abs=1e-4)
    # Ten pieces weighed as if they were nine are seen in all but one case of a thousand.
    wrong = rng.normal(mass * 10 / 9, spread / 3, 10_000)
    assert np.mean(wrong > float(high)) > 0.999


@pytest.mark.parametrize(
    ("figures", "code"),
    [
        ((0, 1, 10, 0), "mass_out_of_range"),
        ((-1, 1, 10, 0), "mass_out_of_range"),
        ((10**7, 1, 10, 0), "mass_out_of_range"),
        ((5, -1, 10, 0), "spread_out_of_range"),
        ((5, 1, 0, 0), "pieces_not_positive"),
        ((5, 1, 10, -1), "scale_out_of_range"),
        ((Decimal("NaN"), 1, 10, 0), "figure_unreadable"),
        ((Fraction(10**400), 1, 10, 0), "mass_out_of_range"),
    ],
)
def test_absurd_figures_are_refused(figures, code):
    mass, spread, pieces, scale = figures
    with pytest.raises((CodeError, Refused)) as error:
        piece_range(mass, spread, reference_pieces=pieces, scale_u_g=scale)
    assert error.value.code == code
