"""Reasons, which some acts cannot do without."""

from __future__ import annotations

from kitting.domain.errors import Refused

LONGEST_REASON = 200
"""Characters that a reason may have."""


def need_reason(text: str) -> str:
    """Tidy a reason that an act cannot do without.

    Args:
        text: As it was entered.

    Returns:
        The reason without blanks around it.

    Raises:
        Refused: ``reason_missing``, ``entry_too_long``.
    """
    reason = text.strip()
    if not reason:
        raise Refused("reason_missing")
    if len(reason) > LONGEST_REASON:
        raise Refused("entry_too_long", what="reason", most=LONGEST_REASON)
    return reason
