"""Text made ready for a search that knows neither capitals nor accents.

Databases fold letters differently: SQLite knows A to Z only, and PostgreSQL asks the
locale of the server. So names are folded here, once when they are stored and once when
they are asked for, and compared as they stand.
"""

from __future__ import annotations

import unicodedata
from typing import Final

from kitting.domain.shown import UNSEEN

_PLAIN: Final = str.maketrans({"ı": "i", "ł": "l", "đ": "d", "ø": "o", "æ": "ae"})
"""Letters that keep a stroke or lack a dot in every form of Unicode."""


def fold(text: str) -> str:
    """Fold a text for searching: no capitals, accents or joiners, single blanks.

    Args:
        text: Any text, in any form of Unicode.

    Returns:
        The folded text; folding it again changes nothing.

    References:
        The Unicode Standard, 3.13 (default case folding) and UAX #15 (normalisation).

    >>> fold("Szpital w Łodzi"), fold("ΓΕΝΙΚΟ Νοσοκομείο")
    ('szpital w lodzi', 'γενικο νοσοκομειο')
    >>> fold("İSTANBUL") == fold("ıstanbul") == fold("Istanbul")
    True
    """
    apart = unicodedata.normalize(
        "NFKD", unicodedata.normalize("NFKD", text.translate(UNSEEN)).casefold()
    )
    bare = "".join(char for char in apart if not unicodedata.combining(char))
    return " ".join(bare.translate(_PLAIN).split())
