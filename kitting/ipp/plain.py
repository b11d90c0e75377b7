"""Words from a printer, made fit to stand in a log or on a page."""

from __future__ import annotations

import unicodedata

MOST_LETTERS = 200
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
"""Unicode's control, format, surrogate, private and unassigned characters, and the
separators of lines: none shows, and some turn what stands around them."""


def plain(text: str, most: int = MOST_LETTERS) -> str:
    """Return a text on one line without characters that hide, at most ``most`` long."""
    # Normal forms and joins can lengthen a text, so it is cut before as well as after.
    shown = (
        " " if unicodedata.category(char) in _HIDDEN else char
        for char in text[: most * 4]
    )
    words = " ".join("".join(shown).split())
    return words if len(words) <= most else f"{words[: most - 1]}…"
