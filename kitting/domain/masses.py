"""Figures of masses in g, read exactly, and refused where no workshop has them."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import Final

from kitting.domain.errors import Refused
from kitting.domain.exact import Number, exact

MOST_G: Final = 1_000_000
"""One tonne in g: no scale of a workshop goes further; more is a slip of the unit."""
FAR: Final = 4
"""Standard deviations beyond which a piece is taken for another one (common practice:
in 16,000 pieces of a normal spread one lies further off)."""
FAR_SHARE: Final = Fraction(1, 5)
"""The same as a share of the mass, where nobody has set a spread (common practice)."""


def need_mass(value: Number, *, zero: bool = False) -> Fraction:
    """Read a mass.

    Args:
        value: The figure in g.
        zero: Whether 0 will do.

    Returns:
        The mass in g, exactly.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``mass_out_of_range``.
    """
    mass = exact(value)
    if mass < 0 or mass > MOST_G or (mass == 0 and not zero):
        raise Refused("mass_out_of_range", read=value)
    return mass


def need_spread(value: Number) -> Fraction:
    """Read a standard deviation from piece to piece.

    Args:
        value: The figure in g, 0 or more.

    Returns:
        The same in g, exactly.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``spread_out_of_range``.
    """
    spread = exact(value)
    if not 0 <= spread <= MOST_G:
        raise Refused("spread_out_of_range", read=value)
    return spread


def need_scale(value: Number) -> Fraction:
    """Read what a scale adds: a step of what it shows, or a standard uncertainty.

    Args:
        value: The figure in g, 0 or more.

    Returns:
        The same in g, exactly.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``scale_out_of_range``.
    """
    scale = exact(value)
    if not 0 <= scale <= MOST_G:
        raise Refused("scale_out_of_range", read=value)
    return scale


def need_coverage(value: Number) -> Fraction:
    """Read how many standard deviations count as certain.

    Args:
        value: The figure, above 0, at most 10.

    Returns:
        The same, exactly.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``coverage_out_of_range``.
    """
    k = exact(value)
    if not 0 < k <= 10:
        raise Refused("coverage_out_of_range", read=value)
    return k


def root_up(square: Fraction) -> int:
    """Give the root of a figure, rounded up to a whole number.

    Args:
        square: The figure, 0 or more.

    Returns:
        The least whole number whose square is no less.
    """
    root = math.isqrt(math.floor(square))
    return root if root**2 == square else root + 1


def piece_range(
    mass_g: Number,
    spread_g: Number | None,
    *,
    reference_pieces: int,
    scale_u_g: Number,
) -> tuple[Decimal, Decimal]:
    """Give the range in which the mean mass of a reference sample is to be expected.

    It reaches ``FAR`` standard deviations to either side of a part's own mass: of one
    piece, since what a part weighs was itself found on a few, and of the weighing of
    the sample. Where no spread is known, it is ``FAR_SHARE`` of the mass.

    Args:
        mass_g: Mass of one piece by the set-up in g, above 0.
        spread_g: Standard deviation from piece to piece in g; None or 0 if not known.
        reference_pieces: Pieces in the reference sample, 1 or more.
        scale_u_g: Standard uncertainty of one weighing in g, 0 or more.

    Returns:
        Lowest and highest mass of one piece in g, rounded outwards to 0.1 mg.

    Raises:
        Refused: ``pieces_not_positive``, ``mass_out_of_range``, ``spread_out_of_range``
            or ``scale_out_of_range``.
    """
    if reference_pieces < 1:
        raise Refused("pieces_not_positive", value=reference_pieces)
    mass, spread = need_mass(mass_g), need_spread(spread_g or 0)
    weighing = need_scale(scale_u_g) / reference_pieces
    tenth = 10_000  # of a mg in a g
    if spread:
        square = (FAR * tenth) ** 2 * (spread**2 + weighing**2)
        far = Fraction(root_up(square), tenth)
    else:
        far = mass * FAR_SHARE
    low, high = max(mass - far, Fraction(0)), mass + far
    return (
        Decimal(math.floor(low * tenth)) / tenth,
        Decimal(math.ceil(high * tenth)) / tenth,
    )
