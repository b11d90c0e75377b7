"""Numbers that Lotward assigns, and lot numbers that the workshop gives.

A Lotward number says what it names, so that a lookup is never ambiguous, and carries a
check character, so that a mistyped one is noticed::

    B 1 000042 T
    | | |      +-- check character, ISO/IEC 7064 MOD 37,36 over everything before it
    | | +--------- sequence, at least six digits
    | +----------- site, 1 to 9
    +------------- kind

A sequence whose check character would be O or I is passed over: people read them as
digits, and no number of Lotward has a letter but its first and perhaps its last.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Final

from kitting.domain import gs1
from kitting.domain.batch import read_batch
from kitting.domain.errors import CodeError
from kitting.domain.shown import shown

SEQUENCES: Final = range(1, 10**12)
"""Every sequence that a number can have."""

_ALPHABET: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_SITES: Final = range(1, 10)
_PASSED_OVER: Final = frozenset("IO")
_MISREAD: Final = str.maketrans("OI", "01")
_BLANKS: Final = re.compile("[ \t\r\n\u00a0\u2002-\u200a\u202f\ufeff]+")
_NUMBER: Final = re.compile(
    "(?P<kind>[LBRXKSCQAPVF])(?P<site>[1-9])"
    "(?P<sequence>[0-9]{6}|[1-9][0-9]{6,11})(?P<check>[0-9A-Z])"
)
IN_A_SENTENCE: Final = re.compile(
    rf"(?<![\w-])(?:{_NUMBER.pattern}|[0-9]{{18}})(?![\w-])"
)
"""Numbers of ours, and SSCCs, wherever a text names them."""

_LOT_NUMBER: Final = re.compile(r"[A-Z0-9/.-]{1,20}")
_FOLDED: Final = frozenset({"", ".", ".."})
"""Parts between slashes that browsers fold out of an address."""


class Kind(StrEnum):
    """What a number names; the value is its first letter."""

    LOT = "L"
    BAG = "B"
    RUN = "R"
    BOX = "X"
    """A box while it is being packed."""
    SERIAL = "K"
    """The serial of a closed box."""
    SHIPMENT = "S"
    CARRIER = "C"
    REQUEST = "Q"
    ALLOTMENT = "A"
    PALLET = "P"
    CASE = "V"
    """A recall: a case that is followed to every box that it reaches."""
    COMPLAINT = "F"
    """What somebody said of a shield, good or bad: feedback."""


@dataclass(frozen=True)
class Number:
    """A Lotward number that was read."""

    kind: Kind
    """What it names."""

    site: int
    """Site that assigned it, 1 to 9."""

    sequence: int
    """Count of its kind at its site, from 1."""

    text: str
    """The number as it is stored and printed: capitals, no blanks."""


def check_character(body: str, alphabet: str = _ALPHABET) -> str:
    """Compute the check character of ISO/IEC 7064 MOD 37,36, or of a smaller sister.

    Args:
        body: The number without it, of characters of the alphabet only.
        alphabet: Its characters, one fewer than a prime number; 0 to 9 and A to Z
            unless another is named.

    Returns:
        One character of the alphabet.

    References:
        ISO/IEC 7064:2003, hybrid system MOD 37,36.

    >>> check_character("A12425GABC1234002")
    'M'
    """
    size = len(alphabet)
    carry = size
    for character in body:
        carry = (carry + alphabet.index(character)) % size or size
        carry = carry * 2 % (size + 1)
    return alphabet[(1 - carry) % size]


@lru_cache(maxsize=32_768)  # a burst makes its numbers before its lock
def assign(kind: Kind, site: int, sequence: int) -> str | None:
    """Compose the number for a thing of a kind.

    Args:
        kind: What is named.
        site: Site that assigns it, 1 to 9.
        sequence: Count from the site's counter, one of ``SEQUENCES``.

    Returns:
        The number, 9 to 15 characters; None for a sequence that is passed over.

    Raises:
        ValueError: If site or sequence is out of range.

    >>> assign(Kind.BAG, 1, 42)
    'B1000042T'
    """
    if site not in _SITES or sequence not in SEQUENCES:
        msg = f"site {site}, sequence {sequence}"
        raise ValueError(msg)
    body = f"{kind}{site}{sequence:06}"
    check = check_character(body)
    return None if check in _PASSED_OVER else body + check


def assigned(kind: Kind, site: int, sequences: Iterable[int]) -> Iterator[str]:
    """Compose the numbers of many sequences, without those that are passed over.

    Args:
        kind: What is named.
        site: Site that assigns them, 1 to 9.
        sequences: Counts from the site's counter.

    Returns:
        The numbers in order.
    """
    return filter(None, (assign(kind, site, sequence) for sequence in sequences))


def _tidy(text: str) -> str:
    joined = _BLANKS.sub("", text)
    # Some letters outside ASCII have a capital inside it: they are no misprints.
    return joined.upper() if joined.isascii() else joined


def looks_like(text: str) -> Kind | None:
    """Tell of which kind a text would be, if it is a Lotward number.

    Args:
        text: Any text.

    Returns:
        The kind of a text that has the shape of a number, with a right or a wrong
        check character; None for any other.
    """
    found = _NUMBER.fullmatch(_tidy(text))
    return Kind(found["kind"]) if found else None


def read(text: str) -> Number:
    """Read a Lotward number that was typed or scanned.

    Args:
        text: Any text; case and blanks do not matter. Letters I and O typed for
            digits are not corrected: a guess would defeat the check character.

    Returns:
        The number.

    Raises:
        CodeError: ``number_malformed`` for any other text, ``number_check_wrong`` for
            a number with a wrong check character; O and I always are.
    """
    tidy = _tidy(text)
    found = _NUMBER.fullmatch(tidy)
    if found is None or int(found["sequence"]) == 0:
        raise CodeError("number_malformed", text=shown(text))
    right = check_character(tidy[:-1])
    if found["check"] != right or right in _PASSED_OVER:
        raise CodeError("number_check_wrong", text=tidy)
    return Number(Kind(found["kind"]), int(found["site"]), int(found["sequence"]), tidy)


def near(text: str) -> Iterator[str]:
    """Give the numbers that a mistyped text may be, to be asked about and never taken.

    O and I, which no number has behind its first letter, may be 0 and 1; a hyphen or
    another mark may stand between; the first letter may be missing. The check character
    is right in each of them.

    Args:
        text: A text that names nothing.

    Yields:
        The numbers; a serial first where the letter is missing.
    """
    tidy = "".join(filter(str.isalnum, _tidy(text)))
    first = tidy[:1] if tidy[:1] in set(Kind) else ""
    rest = tidy[len(first) :].translate(_MISREAD)
    for kind in (first,) if first else sorted(Kind, key=lambda each: each != "K"):
        with suppress(CodeError):
            if kind + rest != text:
                yield read(kind + rest).text


def workshop_lot_number(text: str) -> str:
    """Check a lot number that the workshop gives itself.

    Args:
        text: Any text; case and blanks around it do not matter.

    Returns:
        The number in capitals, 1 to 20 of A to Z, 0 to 9, hyphen, slash and full stop.

    Raises:
        CodeError: ``lot_number_malformed``; ``lot_number_folds`` if an address with
            it in would be changed by a browser (RFC 3986, 5.2.4); and
            ``lot_number_of_other_kind`` if it has the shape of Lotward's own number
            for anything but a lot, with a wrong check character too: the scan of a
            misread bag would find the lot. So for what reads as SSCC or kit batch.
    """
    tidy = text.strip()
    number = tidy.upper() if tidy.isascii() else tidy
    if not _LOT_NUMBER.fullmatch(number):
        raise CodeError("lot_number_malformed", text=shown(text))
    if not _FOLDED.isdisjoint(number.split("/")):
        raise CodeError("lot_number_folds", text=number)
    other = _other_kind(number)
    if other:
        raise CodeError("lot_number_of_other_kind", text=number, kind=other)
    return number


def _other_kind(number: str) -> str:
    if gs1.sscc_ok(number):
        return "SSCC"
    with suppress(CodeError):
        read_batch(number)
        return "kit batch"
    own = looks_like(number)
    return "" if own is None or own is Kind.LOT else own.name
