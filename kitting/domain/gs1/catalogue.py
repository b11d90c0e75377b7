"""The Application Identifiers, read once from the rows of ``gs1_table``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from kitting.domain import gs1_table

_COMPONENT: Final = re.compile(
    r"(?P<optional>\[)?(?P<kind>[NXYZ])(?P<up_to>\.\.)?(?P<length>\d+)\]?"
    r"(?P<rules>(?:,[a-z0-9]+)*)"
)


@dataclass(frozen=True)
class Component:
    """One part of a data field."""

    kind: str
    """``N`` digits, ``X`` set 82, ``Y`` set 39, ``Z`` base64 for file names."""

    low: int
    """Fewest characters."""

    high: int
    """Most characters; the same as ``low`` where the length is fixed."""

    optional: bool
    """Whether the field may end before it."""

    rules: tuple[str, ...]
    """Names of the rules for its content, in order."""


@dataclass(frozen=True)
class Identifier:
    """One Application Identifier."""

    ai: str
    """Two to four digits."""

    title: str
    """Data title; empty for the few that have none."""

    predefined: bool
    """Its length is known to every reader: no separator is needed after it."""

    components: tuple[Component, ...]
    """Parts of its data field, at least one."""

    requires: tuple[tuple[tuple[str, ...], ...], ...]
    """Every entry is to be met by one of its groups, of which all must be there."""

    excludes: tuple[str, ...]
    """AIs, or patterns with ``n`` for any digit, that must not stand beside it."""

    @property
    def longest(self) -> int:
        """Most characters of the data field; all of them where ``predefined``."""
        return sum(component.high for component in self.components)


def component(text: str) -> Component:
    """Read one component of a specification.

    Args:
        text: Kind, length and rules, such as ``N14,csum`` or ``[X..17]``.

    Returns:
        The component.

    Raises:
        ValueError: For a text that is no component.
    """
    found = _COMPONENT.fullmatch(text)
    if found is None:
        raise ValueError(text)
    high = int(found["length"])
    return Component(
        kind=found["kind"],
        low=1 if found["up_to"] else high,
        high=high,
        optional=bool(found["optional"]),
        rules=tuple(found["rules"].split(",")[1:]),
    )


def _identifiers(row: str) -> list[Identifier]:
    span, mark, specification, pairing, title = row.split(" | ")
    first, _, last = span.partition("-")
    pairs = [word.split("=") for word in pairing.split() if word != "-"]
    return [
        Identifier(
            ai=f"{number:0{len(first)}}",
            title="" if title == "-" else title,
            predefined=mark == "*",
            components=tuple(map(component, specification.split())),
            requires=tuple(
                tuple(tuple(group.split("+")) for group in value.split(","))
                for key, value in pairs
                if key == "req"
            ),
            excludes=tuple(
                ai for key, value in pairs if key == "ex" for ai in value.split(",")
            ),
        )
        for number in range(int(first), int(last or first) + 1)
    ]


IDENTIFIERS: Final = {
    identifier.ai: identifier
    for row in gs1_table.ROWS.splitlines()
    for identifier in _identifiers(row)
}
"""Every Application Identifier of the dictionary by its digits."""

AI_DIGITS: Final = {ai[:2]: len(ai) for ai in IDENTIFIERS}
"""How many digits the AI has, from its first two."""


def find(text: str, start: int = 0) -> Identifier | None:
    """Find the Application Identifier with which a text goes on.

    Args:
        text: An element string without separators at ``start``; any text will do.
        start: Where the AI begins.

    Returns:
        The AI, or None where no AI of the dictionary stands there.
    """
    digits = AI_DIGITS.get(text[start : start + 2], 0)
    return IDENTIFIERS.get(text[start : start + digits])
