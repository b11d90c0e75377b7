"""Element strings: written with separators or with brackets, and taken apart."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.gs1 import fields, pairs
from kitting.domain.gs1.catalogue import IDENTIFIERS, Identifier, find
from kitting.domain.gs1.pairs import Pair

GS: Final = "\x1d"
"""The separator as scanners send it, ASCII 29; in a symbol it is FNC1."""

_BRACKETED: Final = re.compile(r"\(([0-9]+)\)((?:\\\(|[^(])+)")


def _identifier(ai: str) -> Identifier:
    identifier = IDENTIFIERS.get(ai)
    if identifier is None:
        raise CodeError("gs1_ai_unknown", ai=ai)
    return identifier


def check(elements: Sequence[Pair]) -> None:
    """Refuse elements of which a field or a pairing breaks a rule.

    Args:
        elements: The elements of one message.

    Raises:
        CodeError: ``gs1_nothing`` for no element, ``gs1_ai_unknown``, and whatever
            ``fields.check`` and ``pairs.check`` refuse.
    """
    if not elements:
        raise CodeError("gs1_nothing")
    check_fields(elements)
    pairs.check(elements)


def check_fields(elements: Iterable[Pair]) -> None:
    """Refuse elements of which a field breaks a rule of its own.

    Args:
        elements: The elements of one message.

    Raises:
        CodeError: ``gs1_ai_unknown``, and whatever ``fields.check`` refuses.
    """
    for ai, value in elements:
        fields.check(_identifier(ai), value)


def element_string(elements: Iterable[Pair]) -> str:
    r"""Write elements as one string, ready for a GS1 symbol.

    Args:
        elements: AIs and raw values in the order in which they are to be printed.

    Returns:
        AIs and values in a row; GS stands where FNC1 is needed: after every element
        but the last whose length is not pre-defined. The FNC1 in first place is the
        symbol's business.

    Raises:
        CodeError: For what field rules or pairing rules refuse (see ``check``), and
            ``gs1_day_missing`` for a date without a day.

    References:
        GS1 General Specifications, 7.8; GS1 Barcode Syntax Dictionary.

    >>> element_string([("01", "12345678901231"), ("10", "AB"), ("21", "7")])
    '011234567890123110AB\x1d217'
    """
    wanted = list(elements)
    check(wanted)
    for ai, value in wanted:
        fields.check_real_days(IDENTIFIERS[ai], value)
    return join(wanted)


def join(elements: Iterable[Pair]) -> str:
    """Put elements in a row, without a look at the rules.

    Args:
        elements: AIs of the dictionary and raw values.

    Returns:
        The element string, with GS where FNC1 is needed.
    """
    return "".join(
        ai + value + ("" if IDENTIFIERS[ai].predefined else GS)
        for ai, value in elements
    ).removesuffix(GS)


def split(text: str) -> tuple[Pair, ...]:
    """Take an element string apart, without looking at the fields' content.

    Args:
        text: What a scanner sends after the symbology identifier; superfluous
            separators are passed over.

    Returns:
        AIs and raw values in order, at least one.

    Raises:
        CodeError: ``gs1_nothing``, ``gs1_ai_unknown``, or ``gs1_field_length`` where
            a field of pre-defined length is cut short.
    """
    found: list[Pair] = []
    start = 0
    while start < len(text):
        if text[start] == GS:
            start += 1
            continue
        identifier = find(text, start)
        if identifier is None:
            raise CodeError("gs1_ai_unknown", ai=text[start : start + 4])
        start += len(identifier.ai)
        end = _end(text, start, identifier)
        found.append((identifier.ai, text[start:end]))
        start = end
    if not found:
        raise CodeError("gs1_nothing")
    return tuple(found)


def _end(text: str, start: int, identifier: Identifier) -> int:
    separator = text.find(GS, start)
    limit = len(text) if separator < 0 else separator
    if not identifier.predefined:
        return limit
    end = start + identifier.longest
    if end > limit:
        raise CodeError("gs1_field_length", ai=identifier.ai, value=text[start:limit])
    return end


def split_bracketed(text: str) -> tuple[Pair, ...]:
    r"""Take a bracketed text apart, without looking at the fields' content.

    Args:
        text: AIs in brackets, each with its value; ``\(`` is a bracket in a value.

    Returns:
        AIs and raw values in order, at least one.

    Raises:
        CodeError: ``gs1_brackets`` for any other text, ``gs1_ai_unknown``.
    """
    found: list[Pair] = []
    start = 0
    while start < len(text) or not found:
        match = _BRACKETED.match(text, start)
        if match is None:
            raise CodeError("gs1_brackets", value=text)
        found.append((_identifier(match[1]).ai, match[2].replace(r"\(", "(")))
        start = match.end()
    return tuple(found)
