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
from kitting.domain.exact import Number
from kitting.domain.masses import (
    need_coverage,
    need_mass,
    need_scale,
    need_spread,
    root_up,
)

COVERAGE: Final = 3
"""Standard deviations to either side that count as certain (common practice: 3 to 4)."""
MOST_PIECES: Final = 1_000_000
"""No count by weight goes further."""
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
class Single:
    """One piece too few or too many, by which a box would weigh what was read."""

    part: str
    missing: bool
    """Whether it is missing; else there is one too many."""
    off: float
    """How far what was read is from what such a box weighs, in standard deviations."""


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
    scale_u, edge = need_scale(scale), need_coverage(k)
    expected = carton.mean + sum(line.pieces * line.mean for line in lines.values())
    variance = carton.variance(1) + scale_u**2
    variance += sum(line.variance(line.pieces) for line in lines.values())
    reach_mg = root_up(variance * (edge * _MG) ** 2)
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


def singles(
    read: Number,
    pieces: Mapping[str, int],
    masses: Mapping[str, Mass | tuple[Number, ...]],
    tare: Number | Mass | tuple[Number, ...],
    scale: Number,
    *,
    k: Number = COVERAGE,
) -> tuple[Single, ...]:
    """Name the single missing or extra pieces that fit what a box weighs.

    Args:
        read: What the scale showed in g, 0 or more.
        pieces: As for :func:`window`, and so are the rest.
        masses: Mass of one piece of each of those parts.
        tare: Mass of the empty carton in g.
        scale: Standard uncertainty of one reading of the scale in g.
        k: Standard deviations within which a reading fits.

    Returns:
        The one that fits best first; empty where no single piece explains it. Parts of
        like mass fit alike: nothing here tells them apart, nor a piece that is missing
        from two others that were swapped.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: What :func:`window` refuses, and ``mass_out_of_range`` of ``read``.

    References:
        GUM (JCGM 100:2008) 5.1.2 for the variance of a box with one piece fewer or
        more; of normal distributions the nearest by its own standard deviation.
    """
    lines = _lines(pieces, masses)
    carton, scale_u, edge = _carton(tare), need_scale(scale), need_coverage(k)
    reading = need_mass(read, zero=True)
    expected = carton.mean + sum(line.pieces * line.mean for line in lines.values())
    variance = carton.variance(1) + scale_u**2
    variance += sum(line.variance(line.pieces) for line in lines.values())
    found: list[tuple[Fraction, Single]] = []
    for part, line in lines.items():
        for more in (-1, 1):
            own = line.variance(line.pieces + more) - line.variance(line.pieces)
            away = (reading - expected - more * line.mean) ** 2
            if away > edge**2 * (variance + own):
                continue
            square = away / (variance + own) if away else Fraction(0)
            off = math.sqrt(square)
            found.append((square, Single(part, missing=more < 0, off=off)))
    found.sort(key=lambda each: (each[0], each[1].part))
    return tuple(single for _square, single in found)


def reading_u(step: Number, own: Number) -> Decimal:
    """Give the standard uncertainty of a reading of a scale.

    Args:
        step: Resolution of what it shows in g: the least step, 0 or more.
        own: Standard uncertainty of the scale itself in g, 0 or more, by its
            calibration.

    Returns:
        Both together in g, rounded up to the mg.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``scale_out_of_range``.

    References:
        GUM F.2.2.1: a step of d adds d/√12, a rectangular distribution of that width.

    >>> reading_u(0, 2), reading_u(1, 0)
    (Decimal('2'), Decimal('0.289'))
    """
    square = need_scale(step) ** 2 / 12 + need_scale(own) ** 2
    return grams(root_up(square * _MG**2))


def readings_apart(scale: Number, *, k: Number = COVERAGE) -> Decimal:
    """Give how far two readings of one mass may be apart.

    Args:
        scale: Standard uncertainty of one reading in g, 0 or more.
        k: Standard deviations that count as certain, above 0.

    Returns:
        The difference in g, rounded up to the mg.

    Raises:
        CodeError: ``figure_unreadable``.
        Refused: ``scale_out_of_range`` or ``coverage_out_of_range``.

    References:
        GUM (JCGM 100:2008) 5.1.2: the variance of a difference is that of both.

    >>> readings_apart(1)
    Decimal('4.243')
    """
    return grams(root_up(2 * (need_coverage(k) * need_scale(scale) * _MG) ** 2))


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
    gross, tare = need_mass(gross_g, zero=True), need_mass(tare_g, zero=True)
    if gross < tare:
        raise Refused("gross_below_tare", gross=gross_g, tare=tare_g)
    edge = need_coverage(k)
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
    edge = need_coverage(k)
    trusted, too_many = 0, MOST_PIECES + 1
    while too_many - trusted > 1:
        middle = (trusted + too_many) // 2
        if uncertain.trusted(middle, edge):
            trusted = middle
        else:
            too_many = middle
    return trusted


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
            many,
            need_mass(mass.mean_g),
            need_spread(mass.sd_g),
            need_spread(mass.u_mean_g),
        )
    if not lines:
        raise Refused("box_empty")
    return lines


def _carton(tare: Number | Mass | tuple[Number, ...]) -> _Line:
    mass = Mass(*tare) if isinstance(tare, tuple) else Mass(tare)
    mean = need_mass(mass.mean_g, zero=True)
    return _Line(1, mean, need_spread(mass.sd_g), need_spread(mass.u_mean_g))


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
    whole = need_mass(reference_g)
    piece = whole / reference_pieces
    return _Counting(
        reference_pieces=reference_pieces,
        piece_g=piece,
        spread=(need_spread(spread_g) / piece) ** 2,
        scale=(need_scale(scale_u_g) / piece) ** 2,
        reference=(need_scale(reference_u_g) / whole) ** 2,
    )
