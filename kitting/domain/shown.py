"""Foreign text made fit to be shown in a sentence."""

from __future__ import annotations

from typing import Final

_LIMIT: Final = 60


def shown(text: str) -> str:
    """Make a text that somebody typed or scanned fit for a sentence about it.

    Args:
        text: Any text; control characters and lone surrogates, which no page can
            carry, included.

    Returns:
        At most 60 characters and an ellipsis, each of them printable.

    >>> shown("A" + chr(29) + "B")
    'A\ufffdB'
    """
    cut = text[:_LIMIT] + ("…" if len(text) > _LIMIT else "")
    return "".join(
        character if character.isprintable() else "\N{REPLACEMENT CHARACTER}"
        for character in cut
    )
