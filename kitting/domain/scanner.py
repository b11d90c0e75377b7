"""What a scanner typed, key by key, and what is wrong with its settings.

A scanner is a keyboard. What its settings and the keyboard of the computer make of a
symbol shows when something known is scanned: the symbols of a trial.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain import gs1
from kitting.domain.gs1 import GS

HAND_MS: Final = 40
"""No hand types as fast, letter for letter; the script of the pages has the same."""

SEPARATORS: Final = frozenset({"F8", GS})
ENDS: Final = frozenset({"Enter", "Tab"})
CONTROL_ENDS: Final = {"m": "Enter", "j": "Enter", "i": "Tab"}
"""Control and a letter, by which some scanners type the ends of a line, and Tab."""

COMMAND: Final = "ACT-NEXT"
ELEMENTS: Final = (("01", "02000000000039"), ("10", "YZ-10"), ("21", "QAZ-WXM"))
"""A GTIN that GS1 leaves to every company for use within it, and letters that lie
elsewhere on other keyboards; two fields of any length need a separator between them."""

_IDENTIFIER: Final = 3


@dataclass(frozen=True)
class Key:
    """A key as a browser tells it."""

    name: str
    """The sign that it writes, or its name, such as ``Enter``."""

    place: str = ""
    """Where it is on the keyboard, such as ``BracketRight``."""

    control: bool = False
    ms: int = 0
    """Since the key before."""


@dataclass(frozen=True)
class Fault:
    """Something about the settings of a scanner."""

    code: str
    params: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Arrived:
    """What a scan arrived as."""

    tokens: tuple[str, ...]
    """Signs, GS for each separator, and names of other keys, without the suffix."""

    suffix: tuple[str, ...]
    """Names of the keys at the end, none where the scan just ends."""

    fast: bool
    """Whether no hand types as fast."""

    @property
    def text(self) -> str:
        """What the pages read."""
        return "".join(token for token in self.tokens if len(token) == 1)

    @property
    def identifier(self) -> str:
        """The symbology identifier, empty where none was sent."""
        head = self.text[:_IDENTIFIER]
        whole = len(head) == _IDENTIFIER and head[0] == "]"
        return head if whole and head[1].isalpha() and head[2].isdigit() else ""


def wanted() -> str:
    """Give what the symbol of the trial with two fields carries."""
    return gs1.element_string(ELEMENTS)


def arrived(keys: list[Key], stand_in: str = "") -> Arrived:
    """Put together what keys make a scan.

    Args:
        keys: In the order in which they came.
        stand_in: The key that was chosen for the separator, if one was.

    Returns:
        The scan.
    """
    tokens = [_token(key, stand_in) for key in keys]
    end = len(tokens)
    while end and tokens[end - 1] in ENDS:
        end -= 1
    gaps = [key.ms for key in keys[1:end]]
    fast = sum(gaps) <= HAND_MS * len(gaps)
    return Arrived(tuple(tokens[:end]), tuple(tokens[end:]), fast)


def _token(key: Key, stand_in: str) -> str:
    if key.name in SEPARATORS or (stand_in and key.name == stand_in):
        return GS
    if key.control:
        if key.name == "]" or key.place == "BracketRight":
            return GS
        return CONTROL_ENDS.get(key.name.lower(), f"Ctrl+{key.name}")
    return key.name


def faults(scan: Arrived) -> list[Fault]:
    """Say what is wrong, as far as one scan of the trial shows it.

    Args:
        scan: What arrived; of any other symbol little is known.

    Returns:
        The faults, the worst first; none where all is well.
    """
    expected, tokens = _aligned(scan)
    found = _differences(expected, tokens) if expected else []
    if not scan.suffix:
        found.append(Fault("suffix_missing" if scan.fast else "suffix_missing_slow"))
    if not scan.identifier and len(tokens) == len(scan.tokens):
        found.append(Fault("identifier_missing"))
    return found


def trial(scan: Arrived) -> str:
    """Tell which symbol of the trial was scanned: ``command``, ``elements`` or none."""
    expected, _tokens = _aligned(scan)
    return "" if not expected else "command" if expected == COMMAND else "elements"


def _aligned(scan: Arrived) -> tuple[str, tuple[str, ...]]:
    """The symbol of the trial that is most like it, and what came behind the identifier.

    Where not one digit came, another keyboard has other signs in their places.
    """
    skipped = len(scan.identifier)
    for skip in (skipped, _IDENTIFIER):
        tokens = scan.tokens[skip:]
        for expected in (COMMAND, wanted().replace(GS, ""), wanted()):
            pairs = list(zip(expected, tokens, strict=False))
            same = sum(one == other.upper() for one, other in pairs)
            other_keys = expected != COMMAND and not any(map(str.isdigit, tokens))
            if len(expected) == len(tokens) and (2 * same >= len(tokens) or other_keys):
                return expected, tokens
    return "", scan.tokens[skipped:]


def _differences(expected: str, tokens: tuple[str, ...]) -> list[Fault]:
    pairs = list(zip(expected, tokens, strict=True))
    found = []
    if expected != COMMAND and GS not in expected:
        found.append(Fault("separator_missing"))
    for one, other in pairs:
        if one == GS != other:
            found.append(Fault("separator_unknown", (("key", other),)))
    other_signs = dict.fromkeys(
        (one, other) for one, other in pairs if one != GS and one != other.upper()
    )
    if other_signs:
        signs = ", ".join(f"{one} → {other}" for one, other in other_signs)
        found.append(Fault("keyboard_other", (("signs", signs),)))
    if any(one.isupper() and other == one.lower() for one, other in pairs):
        found.append(Fault("capitals_lost"))
    return found
