"""What a box should weigh, whether a missing piece would be noticed, and counting by weight.

Masses are in g; what is stored in mg comes in through :func:`grams`. Standard
uncertainties are added as variances (law of propagation of uncertainty, GUM 5.1.2), and
every comparison is made in exact fractions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from statistics import NormalDist
from typing import Final, NamedTuple

from kitting.domain.errors import Refused
from kitting.domain.exact import Number, exact

COVERAGE: Final = 3
"""Standard deviations to either side that count as certain (common practice: 3 to 4)."""
FAR: Final = 4
"""Standard deviations beyond which a piece is taken for another one (common practice:
in 16,000 pieces of a normal spread one lies further off)."""
FAR_SHARE: Final = Fraction(1, 5)
"""The same as a share of the mass, where nobody has set a spread (common practice)."""
MOST_PIECES: Final = 1_000_000
"""No count by weight goes further."""
MOST_G: Final = 1_000_000
"""One tonne in g: no scale of a workshop goes further; more is a slip of the unit."""
_MG: Final = 1000


class Mass(NamedTuple):
    """A mass with its spread; a plain tuple of the same figures will do."""

    mean_g: Number
    """Mean mass of one piece in g, above 0."""
    sd_g: Number = 0
    """Standard deviation from piece to piece in g, 0 or more."""
    u_mean_g: Number = 0
    """Standard uncertainty of the mean itself in g, 0 or more: it is the same for all
    pieces of a box, so it grows with their number and not with its root."""


@dataclass(frozen=True, slots=True)
class Window:
    """Between which masses a box counts as complete."""

    expected_g: Decimal
    """To the mg."""
    low_g: Decimal
    """Lowest mass that passes, rounded down to the mg, never below 0."""
    high_g: Decimal
    """Highest mass that passes, rounded up to the mg."""
    sd_g: float
    """Standard deviation of the mass of a complete box as it is read."""
    noticed: dict[str, float]
    """By part: the chance, 0 to 1, that a box with one piece too few is outside."""


@dataclass(frozen=True, slots=True)
class Count:
    """A count by weight."""

    pieces: int
    """The nearest whole number."""
    sd: float
    """Standard deviation of the count in pieces."""
    trusted: bool
    """The count holds to the piece."""
    off: float
    """How far the mass is from that of a whole number, in pieces, -0.5 to 0.5."""
    fits: bool
    """False where the mass is further from a whole number than its uncertainty allows:
    other pieces are in between, or the tare or the reference is wrong."""


@dataclass(frozen=True, slots=True)
class _Line:
    pieces: int
    mean: Fraction
    sd: Fraction
    u_mean: Fraction

    def variance(self, pieces: int) -> Fraction:
        return pieces * self.sd**2 + (pieces * self.u_mean) ** 2


def grams(mg: int) -> Decimal:
    """Give a stored mass in g.

    Args:
        mg: Mass in mg.

    Returns:
        The same mass in g, exactly.

    >>> grams(12_340)
    Decimal('12.34')
    """
    return Decimal(mg) / _MG


def window(
    pieces: Mapping[str, int],
    masses: Mapping[str, Mass | tuple[Number, ...]],
    tare: Number | Mass | tuple[Number, ...],
    scale: Number,
    *,
    k: Number = COVERAGE,
) -> Window:
    """Give the window of masses in which a complete box lies.

    Args:
        pieces: Pieces of each part in the box; parts with 0 are passed over.
        masses: Mass of one piece of each of those parts.
        tare: Mass of the empty carton in g, 0 or more; or with its spread, as a
            :class:`Mass`.
        scale: Standard uncertainty of one reading of the scale in g, 0 or more.
        k: Standard deviations from the expected mass to either edge, above 0.

    Returns:
        The window. For each part it says how likely a missing piece is noticed: a part
        that is lighter than the window is wide cannot be checked by weight.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``box_empty``, ``pieces_negative``, ``mass_missing``,
            ``mass_out_of_range``, ``spread_out_of_range``,
            ``scale_out_of_range`` or ``coverage_out_of_range``.

    References:
        GUM (JCGM 100:2008) 5.1.2; the normal distribution is an assumption, good for
        many pieces. Checked against scipy.stats.norm and by simulation.
    """
    lines = _lines(pieces, masses)
    carton = _carton(tare)
    scale_u, edge = _scale(scale), _coverage(k)
    expected = carton.mean + sum(line.pieces * line.mean for line in lines.values())
    variance = carton.variance(1) + scale_u**2
    variance += sum(line.variance(line.pieces) for line in lines.values())
    reach_mg = _root_up(variance * (edge * _MG) ** 2)
    low_mg = max(0, math.floor(expected * _MG) - reach_mg)
    low, high = grams(low_mg), grams(math.ceil(expected * _MG) + reach_mg)
    noticed = {
        part: _outside(
            low,
            high,
            expected - line.mean,
            variance - line.variance(line.pieces) + line.variance(line.pieces - 1),
        )
        for part, line in lines.items()
    }
    sd_g = math.sqrt(variance)
    return Window(grams(round(expected * _MG)), low, high, sd_g, noticed)


def count_by_weight(
    gross_g: Number,
    tare_g: Number,
    reference_pieces: int,
    reference_g: Number,
    scale_u_g: Number,
    spread_g: Number,
    *,
    reference_u_g: Number = 0,
    k: Number = COVERAGE,
) -> Count:
    """Count pieces by their mass, from a reference sample counted by hand.

    Args:
        gross_g: Mass of the full container in g.
        tare_g: Mass of the empty container in g, 0 or more, not above the gross mass.
        reference_pieces: Pieces in the reference sample, 1 or more.
        reference_g: Net mass of the reference sample in g, above 0.
        scale_u_g: Standard uncertainty of the net mass in g, 0 or more.
        spread_g: Standard deviation from piece to piece in g, 0 or more.
        reference_u_g: Standard uncertainty of the weighing of the reference sample in
            g. At 0 the result is that of the published formula; where the sample was
            weighed on the same scale, give the scale's.
        k: Standard deviations that count as certain, above 0.

    Returns:
        The count. It is trusted to the piece if half a piece is at least ``k``
        standard deviations and the mass fits a whole number (common practice).

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``pieces_not_positive``, ``gross_below_tare``, ``weighed_out_of_range``
            or what :func:`window` refuses for masses, spread, scale and ``k``.

    References:
        GUM 5.1.2; for counting scales Steiner and MacKay, "Scale Counting", from
        memory: var(n) = n (s/mu)² + n² (s/mu)²/m + (u/mu)².
    """
    uncertain = _counting(
        reference_pieces, reference_g, scale_u_g, spread_g, reference_u_g
    )
    gross, tare = _mass(gross_g, zero=True), _mass(tare_g, zero=True)
    if gross < tare:
        raise Refused("gross_below_tare", gross=gross_g, tare=tare_g)
    edge = _coverage(k)
    raw = (gross - tare) / uncertain.piece_g
    pieces = math.floor(raw + Fraction(1, 2))
    if pieces > MOST_PIECES:
        raise Refused("weighed_out_of_range", read=pieces, most=MOST_PIECES)
    variance = uncertain.variance(pieces)
    off = raw - pieces
    fits = off**2 <= edge**2 * variance
    return Count(
        pieces=pieces,
        sd=math.sqrt(variance),
        trusted=fits and uncertain.trusted(pieces, edge),
        off=float(off),
        fits=fits,
    )


def largest_trusted(
    reference_pieces: int,
    reference_g: Number,
    scale_u_g: Number,
    spread_g: Number,
    *,
    reference_u_g: Number = 0,
    k: Number = COVERAGE,
) -> int:
    """Give the largest count by weight that holds to the piece.

    Args:
        reference_pieces: Pieces in the reference sample, 1 or more.
        reference_g: Net mass of the reference sample in g, above 0.
        scale_u_g: Standard uncertainty of the net mass in g, 0 or more.
        spread_g: Standard deviation from piece to piece in g, 0 or more.
        reference_u_g: As for :func:`count_by_weight`.
        k: Standard deviations that count as certain, above 0.

    Returns:
        Pieces; 0 where not even one can be counted so, at most ``MOST_PIECES``.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: What :func:`count_by_weight` refuses for the same figures.
    """
    uncertain = _counting(
        reference_pieces, reference_g, scale_u_g, spread_g, reference_u_g
    )
    edge = _coverage(k)
    trusted, too_many = 0, MOST_PIECES + 1
    while too_many - trusted > 1:
        middle = (trusted + too_many) // 2
        if uncertain.trusted(middle, edge):
            trusted = middle
        else:
            too_many = middle
    return trusted


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
    mass, spread = _mass(mass_g), _spread(spread_g or 0)
    weighing = _scale(scale_u_g) / reference_pieces
    tenth = 10 * _MG  # tenths of a mg in a g
    if spread:
        square = (FAR * tenth) ** 2 * (spread**2 + weighing**2)
        far = Fraction(_root_up(square), tenth)
    else:
        far = mass * FAR_SHARE
    low, high = max(mass - far, Fraction(0)), mass + far
    return (
        Decimal(math.floor(low * tenth)) / tenth,
        Decimal(math.ceil(high * tenth)) / tenth,
    )


@dataclass(frozen=True, slots=True)
class _Counting:
    """Relative variances of a count by weight."""

    reference_pieces: int
    piece_g: Fraction
    spread: Fraction
    """Of one piece."""
    scale: Fraction
    """Of one weighing, as a share of one piece."""
    reference: Fraction
    """Of the weighing of the reference sample."""

    def variance(self, pieces: int) -> Fraction:
        parts = pieces * self.spread
        mean = pieces**2 * (self.spread / self.reference_pieces + self.reference)
        return parts + mean + self.scale

    def trusted(self, pieces: int, k: Fraction) -> bool:
        return 4 * k**2 * self.variance(pieces) <= 1


def _lines(
    pieces: Mapping[str, int], masses: Mapping[str, Mass | tuple[Number, ...]]
) -> dict[str, _Line]:
    lines: dict[str, _Line] = {}
    for part, many in pieces.items():
        if many < 0:
            raise Refused("pieces_negative", value=many)
        if many == 0:
            continue
        if part not in masses:
            raise Refused("mass_missing", part=part)
        mass = Mass(*masses[part])
        lines[part] = _Line(
            many, _mass(mass.mean_g), _spread(mass.sd_g), _spread(mass.u_mean_g)
        )
    if not lines:
        raise Refused("box_empty")
    return lines


def _carton(tare: Number | Mass | tuple[Number, ...]) -> _Line:
    mass = Mass(*tare) if isinstance(tare, tuple) else Mass(tare)
    mean = _mass(mass.mean_g, zero=True)
    return _Line(1, mean, _spread(mass.sd_g), _spread(mass.u_mean_g))


def _outside(low: Decimal, high: Decimal, mean: Fraction, variance: Fraction) -> float:
    if variance == 0:
        return float(not Fraction(low) <= mean <= Fraction(high))
    mass = NormalDist(float(mean), math.sqrt(variance))
    return mass.cdf(float(low)) + 1 - mass.cdf(float(high))


def _counting(
    reference_pieces: int,
    reference_g: Number,
    scale_u_g: Number,
    spread_g: Number,
    reference_u_g: Number,
) -> _Counting:
    if reference_pieces < 1:
        raise Refused("pieces_not_positive", value=reference_pieces)
    whole = _mass(reference_g)
    piece = whole / reference_pieces
    return _Counting(
        reference_pieces=reference_pieces,
        piece_g=piece,
        spread=(_spread(spread_g) / piece) ** 2,
        scale=(_scale(scale_u_g) / piece) ** 2,
        reference=(_scale(reference_u_g) / whole) ** 2,
    )


def _mass(value: Number, *, zero: bool = False) -> Fraction:
    mass = exact(value)
    if mass < 0 or mass > MOST_G or (mass == 0 and not zero):
        raise Refused("mass_out_of_range", read=value)
    return mass


def _spread(value: Number) -> Fraction:
    spread = exact(value)
    if not 0 <= spread <= MOST_G:
        raise Refused("spread_out_of_range", read=value)
    return spread


def _scale(value: Number) -> Fraction:
    scale = exact(value)
    if not 0 <= scale <= MOST_G:
        raise Refused("scale_out_of_range", read=value)
    return scale


def _coverage(value: Number) -> Fraction:
    k = exact(value)
    if not 0 < k <= 10:
        raise Refused("coverage_out_of_range", read=value)
    return k


def _root_up(square: Fraction) -> int:
    root = math.isqrt(math.floor(square))
    return root if root**2 == square else root + 1
