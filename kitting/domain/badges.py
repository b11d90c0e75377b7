"""Badges: what is scanned at the sign-in page in place of a name.

A badge carries a token of letters alone, 36 of them::

    BDG BBBCBDBFBGBHBJBKBLBNBPBRBSBTBVBX L
    |   |                                +-- check letter, ISO/IEC 7064 with 17,16
    |   +----------------------------------- 32 of sixteen letters: 128 random bits
    +--------------------------------------- always the same

A scanner types keys, not letters, and the computer's keyboard layout makes letters of
them. The sixteen letters sit on the same keys of QWERTY, QWERTZ and AZERTY keyboards,
where digits, hyphens, A, M, Q, W, Y and Z do not; vowels are left out so that no word
comes of chance. No number of Lotward has so many letters, a command has a hyphen, a
place's code is at most 12 characters and a lot's number at most 20.

Nothing here says what a badge held: its token is never to be told, not in an error.
"""

from __future__ import annotations

import hashlib
import re
from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.numbers import check_character

LETTERS: Final = "BCDFGHJKLNPRSTVX"
"""The letters of a token; each stands for four bits."""

PREFIX: Final = "BDG"
RANDOM_BYTES: Final = 16
LENGTH: Final = len(PREFIX) + 2 * RANDOM_BYTES + 1
TELLING: Final = 24
"""So many letters of a token in a row are taken for a piece of one: a scan loses its
beginning where the field was not ready. No word and no number has as many."""

DIFFERENT: Final = 6
"""So many different letters are in such a piece, all but surely: fewer are in one of
3 × 10⁸. A key that was leant on types fewer."""

IN_PLACE: Final = "(badge)"
"""What stands for a token in a text that may be kept."""

_FLAGS: Final = re.ASCII | re.IGNORECASE
_SHAPE: Final = f"{PREFIX}[{LETTERS}]{{{LENGTH - len(PREFIX)}}}"
_WHOLE: Final = re.compile(_SHAPE, _FLAGS)
_PIECE: Final = re.compile(f"[{LETTERS}]{{{TELLING},}}", _FLAGS)
_SCAN: Final = re.compile(f".{{0,3}}(?P<token>{_SHAPE})", _FLAGS)
"""A scan, with the three characters of a symbology identifier or without; what the
computer made of ``]d1`` depends on its keyboard layout as well."""


def make_token(random: bytes) -> str:
    """Make the token of a new badge.

    Args:
        random: 16 bytes from the system's source of randomness.

    Returns:
        36 letters.

    Raises:
        ValueError: If they are not 16 bytes.

    >>> make_token(bytes(16))
    'BDGBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBH'
    """
    if len(random) != RANDOM_BYTES:
        msg = f"{len(random)} bytes"
        raise ValueError(msg)
    body = PREFIX + "".join(LETTERS[int(digit, 16)] for digit in random.hex())
    return body + check_character(body, LETTERS)


def holds_badge(text: str) -> bool:
    """Tell whether there is a badge's token, or most of one, anywhere in a text.

    Args:
        text: Any text. Blanks in the token, small letters and a wrong check letter do
            not matter: a misread token tells nearly as much as the token.

    Returns:
        Whether the text must neither be shown nor kept.
    """
    return any(map(_telling, _PIECE.finditer("".join(text.split()))))


def is_badge(text: str) -> bool:
    """Tell whether a text is the scan of a badge and nothing else.

    Args:
        text: Any text; small letters and blanks do not matter, nor a symbology
            identifier in front.

    Returns:
        True for a token with the right check letter.
    """
    return _token(text) is not None


def token_hash(text: str) -> bytes:
    """Give what is kept of a badge.

    Args:
        text: The scan of a badge, as ``is_badge`` takes it.

    Returns:
        SHA-256 of its token, 32 bytes. Of 128 random bits no slower hash is needed.

    Raises:
        CodeError: ``badge_malformed`` for any other text.
    """
    token = _token(text)
    if token is None:
        raise CodeError("badge_malformed")
    return hashlib.sha256(token.encode("ascii")).digest()


def without_badges(text: str) -> str:
    """Take the tokens out of a text that will be kept, such as a line of a log.

    Args:
        text: Any text.

    Returns:
        The text with ``(badge)`` in place of each token.
    """
    return _PIECE.sub(lambda piece: IN_PLACE if _telling(piece) else piece[0], text)


def _telling(piece: re.Match[str]) -> bool:
    different = len(set(piece[0].upper()))
    return different >= DIFFERENT or _WHOLE.search(piece[0]) is not None


def _token(text: str) -> str | None:
    found = _SCAN.fullmatch("".join(text.split()))
    if found is None:
        return None
    token = found["token"].upper()
    right = check_character(token[:-1], LETTERS) == token[-1]
    return token if right else None
