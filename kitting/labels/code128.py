"""Code 128 and GS1-128 as element widths, always the shortest symbol.

python-barcode chooses code sets greedily: it wastes symbol characters on odd runs of
digits, drops a leading "99" and answers differently when asked twice. Its tables and
its check character are right, so only the choice of code sets is replaced here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import groupby
from typing import Final

from barcode.charsets import code128 as tables
from barcode.codex import Code128, Gs1_128

from kitting.domain.errors import CodeError

SEPARATOR: Final = "\x1d"
"""How scanners and element strings write the separating FNC1."""

_FNC1: Final = Gs1_128.FNC1_CHAR
_SETS: Final = "CBA"
_SWITCH: Final = {"A": 101, "B": 100, "C": 99}
_SHIFT: Final = 98
_FNC1_VALUE: Final = 102
_PRINTABLE: Final = frozenset(map(chr, range(32, 127)))


@dataclass(frozen=True)
class Bars:
    """A linear symbol without quiet zones, before it has a size."""

    widths: tuple[int, ...]
    """Modules of bar, space, bar and so on; starts and ends with a bar."""

    values: tuple[int, ...]
    """Symbol characters from the start character to the last one before the check."""

    gs1: bool
    """Whether FNC1 stands first, so that scanners report ``]C1``."""

    @property
    def modules(self) -> int:
        """Width in modules, quiet zones not counted."""
        return sum(self.widths)


class ShortestCode128(Code128):
    """Code 128 whose code sets are chosen by dynamic programming."""

    def _build(self) -> list[int]:
        return list(shortest_values(self.code))


class ShortestGs1128(Gs1_128):
    """GS1-128 whose code sets are chosen by dynamic programming."""

    def _build(self) -> list[int]:
        return list(shortest_values(self.code))


def code128(data: str) -> Bars:
    """Encode a workshop number as plain Code 128 (``]C0``).

    Args:
        data: Printable ASCII, at least one character.

    Returns:
        The shortest symbol for the data.

    Raises:
        CodeError: ``nothing_to_encode`` or ``not_encodable``.

    References:
        ISO/IEC 15417; worked examples in tests/data/code128.
    """
    _refuse_unencodable(data, allowed=_PRINTABLE)
    return _bars(ShortestCode128(data), gs1=False)


def gs1_128(element_string: str) -> Bars:
    """Encode a GS1 element string as GS1-128 (``]C1``).

    Args:
        element_string: Element string without the leading FNC1; GS (0x1D) separates.

    Returns:
        The shortest symbol for the data.

    Raises:
        CodeError: ``nothing_to_encode`` or ``not_encodable``.

    References:
        ISO/IEC 15417; GS1 General Specifications 5.4; tests/data/code128.
    """
    _refuse_unencodable(element_string, allowed=_PRINTABLE | {SEPARATOR})
    return _bars(ShortestGs1128(element_string.replace(SEPARATOR, _FNC1)), gs1=True)


def _refuse_unencodable(data: str, *, allowed: frozenset[str]) -> None:
    if not data:
        raise CodeError("nothing_to_encode")
    bad = next((char for char in data if char not in allowed), None)
    if bad is not None:
        raise CodeError("not_encodable", text=data, character=bad)


def _bars(symbol: Code128, *, gs1: bool) -> Bars:
    modules = symbol.build()[0]
    widths = tuple(len(list(run)) for _, run in groupby(modules))
    return Bars(widths=widths, values=tuple(symbol.encoded), gs1=gs1)


@lru_cache(maxsize=256)  # what is drawn is read back, and stands in two places
def shortest_values(code: str) -> tuple[int, ...]:
    r"""Choose code sets so that no shorter run of symbol characters exists.

    Works from the end of the text to its start: for each place and each of the three
    code sets it keeps the cheapest way to finish. Of equally short ways it keeps the
    one with the fewest changes of code set; code set C wins over B, and B over A.

    Args:
        code: ASCII text; ``\xf1`` stands for FNC1.

    Returns:
        Symbol characters from the start character on, without check and stop.
    """
    best: dict[tuple[int, str], tuple[int, int, tuple[int, ...]]] = {
        (len(code), here): (0, 0, ()) for here in _SETS
    }
    for at in range(len(code) - 1, -1, -1):
        stay = {here: _cheapest(code, at, here, best) for here in _SETS}
        for here in _SETS:
            options = [stay[here]]
            for there in _SETS:
                found = stay[there]
                if there != here and found is not None:
                    cost, changes, values = found
                    options.append((cost + 1, changes + 1, (_SWITCH[there], *values)))
            best[at, here] = min(
                (option for option in options if option is not None),
                key=lambda option: option[:2],
            )
    start = min(_SETS, key=lambda here: best[0, here][:2])
    return (tables.START_CODES[start], *best[0, start][2])


def _cheapest(
    code: str,
    at: int,
    here: str,
    best: dict[tuple[int, str], tuple[int, int, tuple[int, ...]]],
) -> tuple[int, int, tuple[int, ...]] | None:
    """Give the cheapest finish that takes its next character in code set ``here``."""
    taken, values = _next_characters(code, at, here)
    if not taken:
        return None
    cost, changes, rest = best[at + taken, here]
    return cost + len(values), changes, (*values, *rest)


@cache
def _value(char: str, here: str) -> int | None:
    table: dict[str, int] = tables.A if here == "A" else tables.B
    return table.get(char)


def _next_characters(code: str, at: int, here: str) -> tuple[int, tuple[int, ...]]:
    """Tell how much text is taken without leaving ``here``, and as what; or nothing."""
    char = code[at]
    if char == _FNC1:
        return 1, (_FNC1_VALUE,)
    if here == "C":
        pair = code[at : at + 2]
        is_pair = len(pair) == 2 and pair.isascii() and pair.isdecimal()
        return (2, (int(pair),)) if is_pair else (0, ())
    value = _value(char, here)
    if value is not None:
        return 1, (value,)
    other = _value(char, "B" if here == "A" else "A")
    return (0, ()) if other is None else (1, (_SHIFT, other))
