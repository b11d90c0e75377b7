"""What people enter as a whole: a weighing, the terms of a protocol, a report.

Nothing here has a value of its own where a dose, a time or a minimum is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Weighing:
    """What a scale showed, and what is known of it and of the pieces."""

    gross_mg: int
    """The full container."""
    tare_mg: int
    """The empty container; at most the gross mass."""
    reference_pieces: int
    """Pieces counted by hand and weighed for reference, 1 or more."""
    reference_mg: int
    """Net mass of those pieces, above 0."""
    spread_mg: int
    """Standard deviation from piece to piece."""
    scale_u_mg: int
    """Standard uncertainty of one weighing; of the reference too: it is one scale."""


@dataclass(frozen=True)
class Belt:
    """How long the line exposes what lies on it, per pass."""

    zone_um: int | None = None
    belt_um_s: int | None = None
    exposure_ms: int | None = None
    """Time of one pass where nothing moves; else it follows from zone and speed."""
    passes: int = 1
    u_ppm: int = 0
    """Relative expanded uncertainty (k = 2) of the speed, or of the time, in ppm."""
    zone_u_ppm: int = 0
    """The same of the length of the lit zone."""
    decline_ppm: int = 0
    """By how much the lamps may be weaker than they are read, in ppm."""


@dataclass(frozen=True)
class Load:
    """Something that a protocol covers."""

    revision_id: int
    container: str
    max_pieces: int
    """In one container, 1 or more."""
    orientation: str = ""
    """How the pieces are laid."""


@dataclass(frozen=True)
class Terms:
    """All that a version of a protocol says; nothing here has a value of its own."""

    name: str
    process: str
    in_force_from: date
    required_top_uj_cm2: int = 0
    """0 where that side needs none, and for processes without a dose."""
    required_bottom_uj_cm2: int = 0
    turned: bool = False
    hold_s: int | None = None
    """For liquid and heat: unbroken time at or above the minimum."""
    min_value: int | None = None
    """Thousandths of a degree Celsius for heat, ppm for a liquid."""
    low_nm: int | None = None
    high_nm: int | None = None
    max_passes: int | None = None
    in_force_until: date | None = None
    label_words: str = ""
    """What the evidence allows to be said of what was disinfected."""
    loads: tuple[Load, ...] = ()
    evidence: tuple[str, ...] = ()
    """Codes of evidence records."""


@dataclass(frozen=True)
class Report:
    """What a laboratory or somebody else reported."""

    code: str
    """The workshop's own short name for it."""
    laboratory: str
    surface: str
    """What was exposed, such as the film of a visor."""
    measured: str
    """Organism or measurement."""
    result: str
    document: str
    """Where it stands, such as a report's number and page."""
    on: date
    container: str = ""
    """What the pieces lay in."""
