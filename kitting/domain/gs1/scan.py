"""What a scanner sent or a person typed: a GS1 message, a number, or neither."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.gs1 import elements
from kitting.domain.gs1.elements import GS
from kitting.domain.gs1.keys import has_check_digit
from kitting.domain.gs1.pairs import Pair
from kitting.domain.shown import shown

GS1_IDENTIFIERS: Final = frozenset({"]C1", "]d2", "]Q3", "]e0", "]J1"})
"""GS1-128, GS1 DataMatrix, GS1 QR, GS1 DataBar and composite, GS1 DotCode."""

PLAIN_IDENTIFIERS: Final = frozenset(
    {
        *("]C0", "]d1", "]Q1", "]J0"),
        *("]A0", "]A1", "]A2", "]A3", "]A4", "]A5", "]A7"),
        *("]E0", "]E1", "]E2", "]E3", "]E4"),
        *("]F0", "]F1", "]F2", "]F4", "]G0"),
        *("]I0", "]I1", "]I3"),
    }
)
"""Code 128, DataMatrix, QR, DotCode; Code 39; EAN and UPC, their add-ons of two and five
digits alone, and EAN-13 with one; Codabar and Code 93; ITF (ISO/IEC 15424, those of other
codes than GS1's from memory). What they hold is a number to be looked up as it stands."""

_EAN_DIGITS: Final = {"]E0": 13, "]E3": 13, "]E4": 8}
_ADD_ON_DIGITS: Final = (2, 5)
_COMPOSITE: Final = "|]e0"  # between a linear symbol and its composite component
_LONGEST: Final = 7089  # digits of the largest QR symbol, the most any symbol holds
_LONGEST_NUMBER: Final = 48
_OUTSIDE: Final = " \t\r\n\u00a0\u2009\u202f\ufeff"  # never GS, which str.strip takes
_FNC1: Final = "\xf1"  # how barcode libraries write FNC1 in a string
_BRACKETS: Final = re.compile(r"\([0-9]")
_AROUND: Final = re.compile(r"\s+(?=\([0-9]{2,4}\))|(?<=\))\s+(?=\S)")
"""Blanks beside brackets; within a value they are refused, unless they are those by which
labels set digits in groups."""

_IN_GROUPS: Final = dict.fromkeys(map(ord, "\u2009\u202f"))
_PRINTABLE: Final = re.compile(rf"[!-~]{{1,{_LONGEST_NUMBER}}}")


class ScanKind(StrEnum):
    """What a scan turned out to be."""

    GS1 = "gs1"
    NUMBER = "number"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Scan:
    """A scan that was read."""

    kind: ScanKind
    """``gs1``, ``number`` (to be looked up as it stands) or ``unknown``."""

    elements: tuple[Pair, ...] = ()
    """AIs with raw values in order; empty unless the kind is ``gs1``, and where the
    message could not be taken apart."""

    problem: str | None = None
    """Code of what is wrong, as in ``CodeError``. Always there for ``unknown``."""

    number: str | None = None
    """The text without blanks around it: for ``number``, and for a GS1 message that
    came as bare digits and letters and so might be a number after all."""

    symbology: str = ""
    """Symbology identifier such as ``]C1``; empty where none was sent."""

    params: tuple[tuple[str, object], ...] = ()
    """What the sentence for ``problem`` names."""

    def value(self, ai: str) -> str | None:
        """Give the raw value of an Application Identifier.

        Args:
            ai: Two to four digits.

        Returns:
            The first value, or None where the AI is not in the message.
        """
        return next((value for found, value in self.elements if found == ai), None)

    def refusal(self) -> CodeError | None:
        """Give the problem as an error, ready to be raised.

        Returns:
            The error with its code and values, or None where all is well.
        """
        if self.problem is None:
            return None
        return CodeError(self.problem, **dict(self.params))


def read_scan(text: str) -> Scan:
    """Read what a scanner sent or a person typed.

    Args:
        text: Any text at all, with or without symbology identifier, with GS or FNC1,
            in brackets, or plain.

    Returns:
        The scan. A GS1 message that breaks a rule still says ``gs1``, with its
        elements and the problem. It never raises.

    References:
        GS1 General Specifications, 7.8; GS1 Barcode Syntax Engine, scan data.
    """
    seen = text.strip(_OUTSIDE)
    if len(seen) > _LONGEST:
        return _refused(CodeError("scan_too_long", length=len(seen)))
    if not seen:
        return _refused(CodeError("scan_empty"))
    if seen.startswith("]"):
        return _identified(seen[:3], seen[3:])
    if GS in seen or seen.startswith(_FNC1):
        return _gs1(seen.replace(_FNC1, GS))
    if _BRACKETS.match(seen):
        return _in_brackets(seen)
    if _is_bare_gs1(seen):
        found = elements.split(seen)
        problem = _problem(found)
        return _checked(found, problem, number=seen)
    return _plain(seen, "")


def _identified(symbology: str, data: str) -> Scan:
    if symbology in GS1_IDENTIFIERS:
        return _gs1(data, symbology)
    if symbology not in PLAIN_IDENTIFIERS:
        return _refused(CodeError("scan_identifier_unknown", identifier=symbology))
    if not data:
        return _refused(CodeError("scan_empty"), symbology)
    if symbology in _EAN_DIGITS:
        return _ean(data, symbology)
    return _plain(data, symbology)


def _gs1(data: str, symbology: str = "") -> Scan:
    try:
        found = elements.split(data)
    except CodeError as error:
        return _refused(error, symbology, ScanKind.GS1)
    return _checked(found, _problem(found), symbology)


def _in_brackets(text: str) -> Scan:
    try:
        bare = _AROUND.sub("", text.translate(_IN_GROUPS))
        found = elements.split_bracketed(bare)
    except CodeError as error:
        return _refused(error, kind=ScanKind.GS1)
    return _checked(found, _problem(found))


def _ean(data: str, symbology: str) -> Scan:
    linear, bar, composite = data.partition(_COMPOSITE)
    if symbology == "]E3" and len(linear) - _EAN_DIGITS[symbology] in _ADD_ON_DIGITS:
        linear = linear[: _EAN_DIGITS[symbology]]
    if len(linear) != _EAN_DIGITS[symbology] or not has_check_digit(linear):
        return _refused(CodeError("gs1_ean", value=linear), symbology)
    if not bar:
        return Scan(ScanKind.NUMBER, number=linear, symbology=symbology)
    gtin = ("01", linear.zfill(14))
    try:
        found = (gtin, *elements.split(composite))
    except CodeError as error:
        return _refused(error, symbology, ScanKind.GS1)
    return _checked(found, _problem(found), symbology)


def _plain(text: str, symbology: str) -> Scan:
    if _PRINTABLE.fullmatch(text):
        return Scan(ScanKind.NUMBER, number=text, symbology=symbology)
    return _refused(CodeError("scan_no_number", value=text), symbology)


def _is_bare_gs1(text: str) -> bool:
    """Tell whether a text without any mark is a GS1 message all the same.

    Args:
        text: No symbology identifier, no separator.

    Returns:
        True where it starts with a box's or an article's key, check digit right, and
        every field after it keeps its rules.
    """
    if not text.startswith(("00", "01")):
        return False
    try:
        elements.check_fields(elements.split(text))
    except CodeError:
        return False
    return True


def _problem(found: tuple[Pair, ...]) -> CodeError | None:
    try:
        elements.check(found)
    except CodeError as error:
        return error
    return None


def _checked(
    found: tuple[Pair, ...],
    problem: CodeError | None,
    symbology: str = "",
    number: str | None = None,
) -> Scan:
    return Scan(
        ScanKind.GS1,
        found,
        problem=problem.code if problem else None,
        number=number,
        symbology=symbology,
        params=_params(problem),
    )


def _refused(
    error: CodeError, symbology: str = "", kind: ScanKind = ScanKind.UNKNOWN
) -> Scan:
    return Scan(
        kind,
        problem=error.code,
        symbology=symbology,
        params=_params(error),
    )


def _params(error: CodeError | None) -> tuple[tuple[str, object], ...]:
    return tuple(
        (name, shown(value) if isinstance(value, str) else value)
        for name, value in (error.params if error else {}).items()
    )
