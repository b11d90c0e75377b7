"""What the GS1 Barcode Syntax Tests ask of the content of a field.

Each rule has the name that the dictionary gives it, takes one component of a data
field and tells whether the component keeps it. Written from the published
descriptions; checked against the published vectors.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from kitting.domain.gs1 import codes
from kitting.domain.gs1.dates import is_date
from kitting.domain.gs1.keys import has_check_digit, is_digits

DIGITS: Final = "0123456789"
_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
CSET39: Final = f"#-/{DIGITS}{_LETTERS}"
CSET82: Final = (
    f"!\"%&'()*+,-./{DIGITS}:;<=>?{_LETTERS}_{_LETTERS.lower()}"  # in order of value
)
CSET64: Final = f"{DIGITS}-_{_LETTERS}{_LETTERS.lower()}"
_PAIR_SET: Final = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"  # check character pairs
_PREFIX_LEAST: Final = 4  # digits of the shortest company prefix
_IBAN_LEAST: Final = 11
_HALF_CIRCLE: Final = 180 * 10**7  # 10⁻⁷ degrees
_IMPORTER: Final = CSET64


def only(allowed: str) -> Callable[[str], bool]:
    """Make the rule that a text holds characters of one set only.

    Args:
        allowed: The characters of the set.

    Returns:
        The rule; an empty text keeps it.
    """
    members = frozenset(allowed)
    return lambda text: members.issuperset(text)


def cset64(text: str) -> bool:
    """Tell whether a text is base64 for file names, padded or not.

    Args:
        text: Any text.

    Returns:
        True for characters of the set; padding only up to a multiple of three
        characters, as the reference vectors have it.
    """
    bare = text.rstrip("=")
    pads = len(text) - len(bare)
    padded_well = pads == 0 or (pads <= 2 and len(text) % 3 == 0)
    return padded_well and set(bare) <= set(CSET64)


def _in_range(text: str, limit: int) -> bool:
    return is_digits(text) and len(text) == 2 and int(text) < limit


def _hhmi(text: str) -> bool:
    return _in_range(text[:2], 24) and _in_range(text[2:], 60)


def _date_rule(year_digits: int, *, day_may_miss: bool) -> Callable[[str], bool]:
    def rule(text: str) -> bool:
        if not is_digits(text) or len(text) != year_digits + 4:
            return False
        # Of two-digit years only 00 could be a century year without a leap day; it
        # is 2000, which has one, in every window until 2049.
        year = int(text[:year_digits]) + (0 if year_digits == 4 else 2000)
        month, day = int(text[-4:-2]), int(text[-2:])
        return is_date(year, month, day, day_may_miss=day_may_miss)

    return rule


def _nonzero(text: str) -> bool:
    return is_digits(text) and int(text) > 0


def _nozeroprefix(text: str) -> bool:
    return is_digits(text) and text[0] != "0"


def _zero(text: str) -> bool:
    return text != "" and set(text) == {"0"}


def _piece_of_total(text: str) -> bool:
    half = len(text) // 2
    piece, total = text[:half], text[half:]
    if not is_digits(text) or len(piece) != len(total):
        return False
    return 0 < int(piece) <= int(total)


def _position_slash_end(text: str) -> bool:
    found = re.fullmatch(r"([1-9][0-9]*)/([1-9][0-9]*)", text)
    return found is not None and int(found[1]) <= int(found[2])


def _company_prefix(skip: int) -> Callable[[str], bool]:
    def rule(text: str) -> bool:
        start = text[skip : skip + _PREFIX_LEAST]
        return is_digits(start) and len(start) == _PREFIX_LEAST

    return rule


def _percent_encoded(text: str) -> bool:
    return re.search(r"%(?![0-9A-Fa-f]{2})", text) is None


def _primes(count: int) -> list[int]:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % prime for prime in found):
            found.append(number)
        number += 1
    return found


def check_pair(body: str) -> str:
    """Compute the check character pair of an alphanumeric key such as a GMN.

    Args:
        body: The key without the pair, characters of set 82 only.

    Returns:
        Two characters.

    References:
        GS1 General Specifications, check character calculation for alphanumeric
        keys: values in set 82 weighted by the primes from the right, modulo 1021.
    """
    total = sum(
        CSET82.index(character) * prime
        for character, prime in zip(body[::-1], _primes(len(body)), strict=True)
    )
    high, low = divmod(total % 1021, 32)
    return _PAIR_SET[high] + _PAIR_SET[low]


def _check_pair_right(text: str) -> bool:
    body, pair = text[:-2], text[-2:]
    if len(pair) < 2 or not set(body) <= set(CSET82):
        return False
    return check_pair(body) == pair


def _iban(text: str) -> bool:
    if len(text) < _IBAN_LEAST or text[:2] not in codes.COUNTRY_LETTERS:
        return False
    if not set(text) <= set(DIGITS + _LETTERS):
        return False
    turned = "".join(str(int(character, 36)) for character in text[4:] + text[:4])
    return int(turned) % 97 == 1


RULES: Final[dict[str, Callable[[str], bool]]] = {
    "cset39": only(CSET39),
    "cset64": cset64,
    "cset82": only(CSET82),
    "csetnumeric": only(DIGITS),
    "csum": has_check_digit,
    "csumalpha": _check_pair_right,
    "gcppos1": _company_prefix(0),
    "gcppos2": _company_prefix(1),
    "hasnondigit": lambda text: not set(text) <= set(DIGITS),
    "hh": lambda text: _in_range(text, 24),
    "hhmi": _hhmi,
    "hyphen": lambda text: set(text) == {"-"},
    "iban": _iban,
    "importeridx": lambda text: len(text) == 1 and text in _IMPORTER,
    "iso3166": codes.COUNTRY_NUMBERS.__contains__,
    "iso3166999": lambda text: text == "999" or text in codes.COUNTRY_NUMBERS,
    "iso3166alpha2": codes.COUNTRY_LETTERS.__contains__,
    "iso4217": codes.CURRENCIES.__contains__,
    "iso5218": ("0", "1", "2", "9").__contains__,
    "latitude": lambda text: is_digits(text) and int(text) <= _HALF_CIRCLE,
    "longitude": lambda text: is_digits(text) and int(text) <= 2 * _HALF_CIRCLE,
    "mediatype": codes.MEDIA_TYPES.__contains__,
    "mi": lambda text: _in_range(text, 60),
    "nonzero": _nonzero,
    "nozeroprefix": _nozeroprefix,
    "pcenc": _percent_encoded,
    "pieceoftotal": _piece_of_total,
    "posinseqslash": _position_slash_end,
    "ss": lambda text: _in_range(text, 60),
    "winding": ("0", "1", "9").__contains__,
    "yesno": ("0", "1").__contains__,
    "yymmd0": _date_rule(2, day_may_miss=True),
    "yymmdd": _date_rule(2, day_may_miss=False),
    "yyyymmd0": _date_rule(4, day_may_miss=True),
    "yyyymmdd": _date_rule(4, day_may_miss=False),
    "zero": _zero,
}
"""Every rule that Lotward applies, by its name in the dictionary."""

NOT_APPLIED: Final = frozenset({"couponcode", "couponposoffer", "packagetype"})
"""Rules of the dictionary that are not applied: the two North American coupon formats
(AI 8110, 8112) and the UN/CEFACT list of package codes (AI 7041). Length and
characters of these fields are still checked."""
