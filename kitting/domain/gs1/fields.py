"""Whether the data field of one Application Identifier is well formed."""

from __future__ import annotations

from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.gs1.catalogue import Component, Identifier
from kitting.domain.gs1.rules import NOT_APPLIED, RULES

_CHARACTERS: Final = {"N": "csetnumeric", "X": "cset82", "Y": "cset39", "Z": "cset64"}
_CODES: Final = {
    "csum": "gs1_check_digit",
    "csumalpha": "gs1_check_digit",
    "hh": "gs1_time",
    "hhmi": "gs1_time",
    "mi": "gs1_time",
    "ss": "gs1_time",
    "yymmd0": "gs1_date",
    "yymmdd": "gs1_date",
    "yyyymmdd": "gs1_date",
}
"""Rules whose breach has a sentence of its own; the others share one."""


def parts(identifier: Identifier, value: str) -> list[tuple[Component, str]]:
    """Cut a data field into its components.

    Args:
        identifier: The AI of the field.
        value: The raw field.

    Returns:
        Each component that is there with its text, in order; together the field.

    Raises:
        CodeError: ``gs1_field_length`` if the field is too short or too long.
    """
    found = []
    start = 0
    for component in identifier.components:
        if component.optional and start == len(value):
            break
        text = value[start : start + component.high]
        if len(text) < component.low:
            raise CodeError("gs1_field_length", ai=identifier.ai, value=value)
        found.append((component, text))
        start += len(text)
    if start < len(value):
        raise CodeError("gs1_field_length", ai=identifier.ai, value=value)
    return found


def check(identifier: Identifier, value: str) -> None:
    """Refuse a data field that breaks a rule of its Application Identifier.

    Args:
        identifier: The AI of the field.
        value: The raw field.

    Raises:
        CodeError: ``gs1_field_length``, ``gs1_field_characters``, ``gs1_check_digit``,
            ``gs1_date``, ``gs1_time`` or, for any other rule, ``gs1_field_rule``.
    """
    cut = parts(identifier, value)
    for component, text in cut:
        if not RULES[_CHARACTERS[component.kind]](text):
            raise CodeError("gs1_field_characters", ai=identifier.ai, value=value)
    for component, text in cut:
        for rule in component.rules:
            if rule not in NOT_APPLIED and not RULES[rule](text):
                code = _CODES.get(rule, "gs1_field_rule")
                raise CodeError(code, ai=identifier.ai, value=value, rule=rule)


def check_real_days(identifier: Identifier, value: str) -> None:
    """Refuse a date without a day, which reading allows and writing does not.

    Args:
        identifier: The AI of the field.
        value: A field that ``check`` let pass.

    Raises:
        CodeError: ``gs1_day_missing`` for day 00.

    References:
        Stricter than the standard: GS1 asks for a real day on regulated healthcare
        items only (change notification 21-040); Lotward always prints one.
    """
    for component, text in parts(identifier, value):
        if "yymmd0" in component.rules and text.endswith("00"):
            raise CodeError("gs1_day_missing", ai=identifier.ai, value=value)
