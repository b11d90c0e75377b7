"""Inner steps of parts: what the figures of one must not be."""

from __future__ import annotations

import re
from typing import Final

from kitting.domain.errors import Refused
from kitting.ledger.needs import need_length
from kitting.models import Part, Revision
from kitting.models.catalogue import Unit

MASS_MOST_MG: Final = 100_000_000
"""Of one piece: 100 kg."""
OPEN_HOURS_MOST: Final = 24 * 366
REVISION_LONGEST: Final = 12
NOTES: Final = {"changed": 200, "approved_by": 60, "from_lot": 40, "old_stock": 200}
"""Characters that the notes of a revision may have."""


def need_figures(part: Part) -> None:
    """Refuse figures that no part has, or that only pieces have.

    Args:
        part: The part, as it is to be.

    Raises:
        Refused: ``part_mass_of_pieces``, ``part_mass_out_of_range``,
            ``part_spread_too_large``, ``open_hours_out_of_range``.
    """
    mass, spread, hours = part.mass_mg, part.spread_mg, part.open_hours
    if mass is not None and part.unit != Unit.PIECE:
        raise Refused("part_mass_of_pieces", part=part.name)
    if mass is not None and not 1 <= mass <= MASS_MOST_MG:
        raise Refused("part_mass_out_of_range", part=part.name)
    if spread is not None and (mass is None or spread >= mass):
        raise Refused("part_spread_too_large", part=part.name)
    if hours is not None and not 1 <= hours <= OPEN_HOURS_MOST:
        raise Refused("open_hours_out_of_range", read=hours, most=OPEN_HOURS_MOST)


def need_revision_code(code: str) -> str:
    """Refuse the code of a revision that none can have.

    Args:
        code: As it was entered.

    Returns:
        The code in capitals, without blanks around it.

    Raises:
        Refused: ``revision_malformed``.
    """
    plain = code.strip().upper()
    if not re.fullmatch(rf"[A-Z0-9][A-Z0-9.-]{{0,{REVISION_LONGEST - 1}}}", plain):
        raise Refused("revision_malformed", read=code)
    return plain


def need_notes(revision: Revision, *, first: bool) -> None:
    """Tidy the notes of a revision, and ask for them where there was one before it.

    Args:
        revision: The revision, as it is to be.
        first: Whether it is the first one of its part.

    Raises:
        Refused: ``revision_note_missing``, ``entry_too_long``.
    """
    for name, most in NOTES.items():
        text = need_length(name.replace("_", " "), getattr(revision, name), most)
        setattr(revision, name, text)
    asked = (revision.changed, revision.approved_by, revision.old_stock)
    if not first and not all(asked):
        raise Refused("revision_note_missing", revision=revision.code)
