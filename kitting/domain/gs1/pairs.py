"""Which Application Identifiers must, and which must not, stand together."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.gs1.catalogue import IDENTIFIERS

Pair = tuple[str, str]
"""An Application Identifier and its raw data field."""

_SIGNED_KEYS: Final = {"253": 13, "255": 13, "8003": 14}
"""Keys of which AI 8030 signs only one with a serial part: digits before that part."""


def _matches(ai: str, pattern: str) -> bool:
    return len(ai) == len(pattern) and all(
        digit == wanted or wanted == "n"
        for digit, wanted in zip(ai, pattern, strict=True)
    )


def _present(group: Sequence[str], ais: Collection[str]) -> bool:
    return all(any(_matches(ai, pattern) for ai in ais) for pattern in group)


def check_repeats(pairs: Sequence[Pair]) -> None:
    """Refuse an AI that comes twice with different values.

    Args:
        pairs: The elements, in any order.

    Raises:
        CodeError: ``gs1_repeated``.
    """
    seen: dict[str, str] = {}
    for ai, value in pairs:
        if seen.setdefault(ai, value) != value:
            raise CodeError("gs1_repeated", ai=ai, value=seen[ai], other=value)


def check_exclusions(pairs: Sequence[Pair]) -> None:
    """Refuse AIs that exclude each other.

    Args:
        pairs: The elements, in any order; AIs outside the dictionary have no rules.

    Raises:
        CodeError: ``gs1_not_together``.
    """
    ais = dict(pairs)
    for ai in ais:
        identifier = IDENTIFIERS.get(ai)
        for pattern in identifier.excludes if identifier else ():
            for other in ais:
                if other != ai and _matches(other, pattern):
                    raise CodeError("gs1_not_together", ai=ai, other=other)


def check_companions(pairs: Sequence[Pair]) -> None:
    """Refuse an AI whose companions are missing.

    Args:
        pairs: The elements, in any order; AIs outside the dictionary have no rules.

    Raises:
        CodeError: ``gs1_companion_missing``, with the alternatives in ``needs``.
    """
    ais = dict(pairs)
    for ai in ais:
        identifier = IDENTIFIERS.get(ai)
        for groups in identifier.requires if identifier else ():
            if not any(_present(group, ais) for group in groups):
                needs = ", ".join("+".join(group) for group in groups)
                raise CodeError("gs1_companion_missing", ai=ai, needs=needs)


def check_signed_keys(pairs: Sequence[Pair]) -> None:
    """Refuse a digital signature (8030) beside a key without its serial part.

    Args:
        pairs: The elements, in any order.

    Raises:
        CodeError: ``gs1_serial_missing``.
    """
    if "8030" not in dict(pairs):
        return
    for ai, value in pairs:
        if ai in _SIGNED_KEYS and len(value) <= _SIGNED_KEYS[ai]:
            raise CodeError("gs1_serial_missing", ai=ai, value=value)


def check(pairs: Sequence[Pair]) -> None:
    """Refuse elements that may not form one message.

    Args:
        pairs: All elements of one message, in any order.

    Raises:
        CodeError: ``gs1_repeated``, ``gs1_not_together``, ``gs1_companion_missing`` or
            ``gs1_serial_missing``.
    """
    check_repeats(pairs)
    check_exclusions(pairs)
    check_companions(pairs)
    check_signed_keys(pairs)
