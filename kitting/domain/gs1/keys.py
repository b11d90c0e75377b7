"""GS1 identification keys: the check digit, the SSCC and the GTIN."""

from __future__ import annotations

from typing import Final

from kitting.domain.errors import CodeError

_SSCC_DIGITS: Final = 18
_GLN_DIGITS: Final = 13
_GTIN_DIGITS: Final = 14
_PREFIX_DIGITS: Final = range(4, 13)


def is_digits(text: str) -> bool:
    """Tell whether a text is made of the digits 0 to 9 only, at least one.

    Args:
        text: Any text; digits of other scripts and superscripts do not count.

    Returns:
        True for one or more ASCII digits.
    """
    return text.isascii() and text.isdigit()


def check_digit(body: str) -> str:
    """Compute the check digit of a GTIN, GLN, SSCC or any other key of digits.

    Args:
        body: The key without its check digit, at least one digit.

    Returns:
        The check digit, one character.

    Raises:
        CodeError: ``gs1_not_digits`` for anything but digits.

    References:
        GS1 General Specifications, 7.9.1: weights 3, 1, 3, 1 … from the right.

    >>> check_digit("629104150021")
    '3'
    """
    if not is_digits(body):
        raise CodeError("gs1_not_digits", value=body)
    total = 3 * sum(map(int, body[::-2])) + sum(map(int, body[-2::-2]))
    return str(-total % 10)


def has_check_digit(key: str) -> bool:
    """Tell whether the last digit of a key is its right check digit.

    Args:
        key: Any text.

    Returns:
        False for a wrong check digit, for anything but digits and for one digit.
    """
    return is_digits(key) and len(key) > 1 and check_digit(key[:-1]) == key[-1]


def gtin14_ok(text: str) -> bool:
    """Tell whether a text is a GTIN in its form of 14 digits.

    Args:
        text: Any text.

    Returns:
        True for 14 digits of which the last is the right check digit.
    """
    return len(text) == _GTIN_DIGITS and has_check_digit(text)


def gln_ok(text: str) -> bool:
    """Tell whether a text is a GLN.

    Args:
        text: Any text.

    Returns:
        True for 13 digits of which the last is the right check digit.
    """
    return len(text) == _GLN_DIGITS and has_check_digit(text)


def sscc_ok(text: str) -> bool:
    """Tell whether a text is an SSCC.

    Args:
        text: Any text.

    Returns:
        True for 18 digits of which the last is the right check digit.
    """
    return len(text) == _SSCC_DIGITS and has_check_digit(text)


def sscc(prefix: str, serial_reference: int, extension: int = 0) -> str:
    """Compose an SSCC: extension digit, company prefix, serial reference, check digit.

    Args:
        prefix: GS1 company prefix, 4 to 12 digits.
        serial_reference: Number of the box under this prefix and extension, from 0.
        extension: One digit that widens the range.

    Returns:
        18 digits.

    Raises:
        CodeError: ``gs1_prefix`` for a prefix that is none; ``sscc_used_up`` when the
            serial reference does not fit into the digits that the prefix leaves.
        ValueError: If the extension is not one digit or the reference is negative.

    References:
        GS1 General Specifications, 2.2.1; example of the EPCIS standard.

    >>> sscc("0614141", 234567890, extension=1)
    '106141412345678908'
    """
    if extension not in range(10) or serial_reference < 0:
        msg = f"extension {extension}, serial reference {serial_reference}"
        raise ValueError(msg)
    if not is_digits(prefix) or len(prefix) not in _PREFIX_DIGITS:
        raise CodeError("gs1_prefix", prefix=prefix)
    room = _SSCC_DIGITS - 2 - len(prefix)
    reference = f"{serial_reference:0{room}}"
    if len(reference) > room:
        raise CodeError("sscc_used_up", prefix=prefix, digits=room)
    body = f"{extension}{prefix}{reference}"
    return body + check_digit(body)
