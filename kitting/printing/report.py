"""What a printer says of itself, held against what the set-up says of it.

Each finding is a code with its values, as errors are, so that it becomes a sentence the
same way. Nothing of a printer's own words goes on but what ``kitting.ipp`` has read as
a fact and cut to length.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Final

from kitting.domain.errors import PrinterFault
from kitting.ipp.facts import SAME_UM, Media, PrinterFacts, millimetres
from kitting.ipp.refusals import no_media, no_pdf
from kitting.ipp.states import troubles

YES, DOUBT, NO = "yes", "doubt", "no"
DPI_APART: Final = 1
"""Printers tell whole dots per inch: 203 where the head has 203.2. Further apart it may
be another head, such as 300 beside 304.8."""

MOST_TOLD: Final = 4
STATES: Final = ("idle", "processing", "stopped")


@dataclass(frozen=True)
class Finding:
    """One thing that a printer told, or did not."""

    code: str
    good: str
    """``yes`` as it must be, ``doubt`` to be looked at, ``no`` nothing prints like it."""

    params: dict[str, Any] = field(default_factory=dict)


def report(facts: PrinterFacts, media: Media, dots_per_mm: Fraction) -> list[Finding]:
    """Say how a printer stands, and whether it is what the set-up takes it for.

    Args:
        facts: What it answered.
        media: The page that it would be given.
        dots_per_mm: Dots of its head by the set-up.

    Returns:
        Findings: its state first, then what stands against printing, then the rest.
    """
    return [
        *_state(facts),
        _pdf(facts),
        _size(facts, media),
        _dots(facts, dots_per_mm),
        _scaling(facts),
    ]


def _state(facts: PrinterFacts) -> Iterator[Finding]:
    known = facts.state if facts.state in STATES else "unknown"
    good = {"stopped": NO, "unknown": DOUBT}.get(known, YES)
    yield Finding(f"printer_told_{known}", good)
    if not facts.accepting:
        yield Finding("printer_takes_no_jobs", NO)
    for trouble in troubles(facts):
        good = NO if trouble.stops else DOUBT
        yield Finding(trouble.code, good, {"reason": trouble.reason})


def _of(fault: PrinterFault) -> Finding:
    return Finding(fault.code, NO, fault.params)


def _pdf(facts: PrinterFacts) -> Finding:
    if not facts.formats:
        return Finding("printer_formats_untold", DOUBT)
    return Finding("printer_takes_pdf", YES) if facts.takes_pdf else _of(no_pdf(facts))


def _size(facts: PrinterFacts, media: Media) -> Finding:
    asked = {"asked": str(media)}
    if not facts.media and not facts.custom:
        return Finding("printer_sizes_untold", DOUBT, asked)
    if not facts.takes(media):
        return _of(no_media(facts, media))
    loaded = [
        abs(wide - media.width_um) <= SAME_UM and abs(high - media.height_um) <= SAME_UM
        for wide, high in facts.ready
    ]
    if facts.ready and not any(loaded):
        sizes = ", ".join(
            f"{millimetres(wide)} × {millimetres(high)}"
            for wide, high in facts.ready[:MOST_TOLD]
        )
        return Finding("printer_size_not_loaded", DOUBT, {**asked, "sizes": sizes})
    return Finding("printer_size_known", YES, asked)


def _dots(facts: PrinterFacts, dots_per_mm: Fraction) -> Finding:
    ours = dots_per_mm * Fraction("25.4")
    known = {
        "ours": f"{float(round(dots_per_mm, 2)):g}",
        "ours_dpi": f"{float(round(ours, 1)):g}",
    }
    if not facts.resolutions:
        return Finding("printer_dots_untold", DOUBT, known)
    same = [
        abs(cross - ours) < DPI_APART and abs(feed - ours) < DPI_APART
        for cross, feed in facts.resolutions
    ]
    theirs = ", ".join(
        str(cross) if cross == feed else f"{cross} × {feed}"
        for cross, feed in facts.resolutions[:MOST_TOLD]
    )
    code = "printer_dots_agree" if any(same) else "printer_dots_differ"
    return Finding(code, YES if any(same) else DOUBT, {**known, "theirs": theirs})


def _scaling(facts: PrinterFacts) -> Finding:
    if facts.can_scale_none:
        return Finding("printer_scales_nothing", YES)
    return Finding("printer_scaling_untold", DOUBT)
