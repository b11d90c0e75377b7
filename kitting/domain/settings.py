"""Names for new settings of machines, from those before: PRINT-S7, version 7."""

from __future__ import annotations

import re
from typing import Final

VERSION_LONGEST: Final = 20
"""Characters that the version of settings may have."""


def next_version(version: str) -> str:
    """Give the version after another one: its last figure counts on.

    >>> next_version("7"), next_version("2.9"), next_version("8b"), next_version("new")
    ('8', '2.10', '9b', '')

    Args:
        version: The newest one.

    Returns:
        The next one; empty where there is no figure in it.
    """
    found = re.fullmatch(r"(.*?)([0-9]{1,9})([^0-9]*)", version, re.DOTALL)
    return f"{found[1]}{int(found[2]) + 1}{found[3]}" if found else ""


def code_for(
    version: str, *, group: str, last: tuple[str, str] | None, most: int
) -> str:
    """Give new settings a code.

    >>> code_for("9", group="Printers", last=("PRINT-S8", "8"), most=20)
    'PRINT-S9'
    >>> code_for("2 b", group="Drag knife", last=None, most=20)
    'DRAG-S2-B'
    >>> code_for("9", group="Printers", last=("OVEN", "8"), most=20)
    'PRINTERS-S9'

    Args:
        version: Their version.
        group: The machines.
        last: Code and version of the settings before, of the same machines.
        most: Characters that a code may have.

    Returns:
        The code before with the new version at its end, or the first word of the
        machines with the version; in capitals, digits and hyphens.
    """
    start = f"{group.split(maxsplit=1)[0] if group.split() else ''}-S"
    if last is not None:
        code, was = last
        if was and code.endswith(_plain(was)):
            start = code[: len(code) - len(_plain(was))]
    end = _plain(version)[: most - 4]
    return _plain(start, keep="-")[: most - len(end)] + end


def _plain(text: str, keep: str = "") -> str:
    found = re.sub("[^A-Z0-9]+", "-", text.upper())
    return found.strip("-") + (keep if keep and found.endswith("-") else "")
