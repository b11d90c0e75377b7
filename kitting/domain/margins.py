"""How far below a measured dose its true value may lie.

A dose is a product, irradiance × time × passes, so the relative uncertainties of the
meter and of the belt's speed (both expanded, k = 2) combine as the root of the sum of
their squares. What the lamps may have declined is no spread about the reading: it can
only make the dose smaller. It is therefore not squared with the others but subtracted
in full, as a known one-sided effect that was not corrected for.

References:
    JCGM 100:2008 (GUM) 5.1.6: relative uncertainties of a product; JCGM 106:2012
    8.3.2: guarded acceptance, here with a guard band of the whole expanded
    uncertainty. Clause numbers from memory. That so at most 2.5 % of runs at exactly
    the required dose pass is simulated in tests/kitting/domain/test_guard_band.py.
"""

from __future__ import annotations

import math

from kitting.domain.errors import Refused

MILLION = 1_000_000


def combined_ppm(*rel_u_ppm: int) -> int:
    """Combine independent relative uncertainties of one coverage factor.

    Args:
        *rel_u_ppm: Each in ppm, 0 or more.

    Returns:
        The root of the sum of their squares in ppm, rounded up.

    >>> combined_ppm(30_000, 40_000), combined_ppm(1, 1), combined_ppm(60_000, 0)
    (50000, 2, 60000)
    """
    squares = sum(part * part for part in rel_u_ppm)
    root = math.isqrt(squares)
    return root if root * root == squares else root + 1


def margin_ppm(rel_u_ppm: int, belt_u_ppm: int = 0, decline_ppm: int = 0) -> int:
    """Give the share of a measured dose that its lower bound leaves out.

    Args:
        rel_u_ppm: Of the meter: relative expanded uncertainty (k = 2) in ppm.
        belt_u_ppm: Of the belt's speed, or of the time where nothing moves; as above.
        decline_ppm: By how much the lamps may have been weaker than they were read.

    Returns:
        Parts per million, at most 1,000,000: then nothing of the dose is sure.

    Raises:
        Refused: ``uncertainty_out_of_range``, ``belt_u_out_of_range`` or
            ``decline_out_of_range`` for a figure below 0 or of 100 % and more.
    """
    for value, code in (
        (rel_u_ppm, "uncertainty_out_of_range"),
        (belt_u_ppm, "belt_u_out_of_range"),
        (decline_ppm, "decline_out_of_range"),
    ):
        if not 0 <= value < MILLION:
            raise Refused(code, value=value)
    return min(MILLION, combined_ppm(rel_u_ppm, belt_u_ppm) + decline_ppm)


def low(product: int, margin: int, per: int = 1) -> int:
    """Give the lower bound of a measured figure, rounded down once.

    Args:
        product: The exact figure, in units of which ``per`` make one of the result.
        margin: The share to leave out in ppm, 0 to 1,000,000.
        per: Units of the product in one unit of the result.

    Returns:
        The bound.

    >>> low(1_000_999, 50_000, 1000)
    950
    """
    return product * (MILLION - margin) // (per * MILLION)


def high(product: int, share: int, per: int = 1) -> int:
    """Give the upper bound of a measured figure, rounded up once.

    Args:
        product: The exact figure, in units of which ``per`` make one of the result.
        share: What to add in ppm, 0 or more.
        per: Units of the product in one unit of the result.

    Returns:
        The bound.

    >>> high(1_000_001, 50_000, 1000)
    1051
    """
    return -(-product * (MILLION + share) // (per * MILLION))
