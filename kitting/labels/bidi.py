"""In which order the letters of a line stand: the Unicode bidirectional algorithm.

UAX #9 with isolates, which keep what a sentence is filled with apart from the words
around it, and without embeddings and overrides, which no text on paper may hold. Levels
are resolved for a whole text and the letters then ordered line by line, as the
algorithm wants; libraries for it take one line at a time and keep the levels, without
which letters cannot be joined.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from itertools import groupby
from typing import Final

from kitting.domain.shown import UNSEEN

FIRST_STRONG: Final = "\u2068"
POPPED: Final = "\u2069"
_UNSEEN: Final = {**UNSEEN, ord(FIRST_STRONG): None, ord(POPPED): None}

_PAIRS: Final = (
    "()[]{}༺༻༼༽᚛᚜⁅⁆⁽⁾₍₎⌈⌉⌊⌋〈〉❨❩❪❫❬❭❮❯❰❱❲❳❴❵⟅⟆⟦⟧⟨⟩⟪⟫⟬⟭⟮⟯⦃⦄⦅⦆⦇⦈⦉⦊⦋⦌⦍⦐⦏⦎"
    "⦑⦒⦓⦔⦕⦖⦗⦘⧘⧙⧚⧛⧼⧽⸢⸣⸤⸥⸦⸧⸨⸩⹕⹖⹗⹘⹙⹚⹛⹜〈〉《》「」『』【】〔〕〖〗〘〙〚〛"
    "﹙﹚﹛﹜﹝﹞（）［］｛｝｟｠｢｣"
)
"""The pairs of BidiBrackets.txt, in the composed form."""

_CLOSED_BY: Final = dict(zip(_PAIRS[::2], _PAIRS[1::2], strict=True))
_CLOSING: Final = frozenset(_PAIRS[1::2])
_MOST_OPEN: Final = 63
_ISOLATES: Final = frozenset({"LRI", "RLI", "FSI"})
_ISOLATING: Final = _ISOLATES | {"PDI"}
_MAY_END: Final = _ISOLATING | {"WS"}
_PASSED_OVER: Final = frozenset({"BN", "LRE", "RLE", "LRO", "RLO", "PDF"})
"""What has no place in the order (X9); embeddings and overrides turn nothing here."""

_DEEPEST: Final = 125
"""The level below which nothing is embedded (BD2)."""

_NEUTRAL: Final = frozenset({"B", "S", "WS", "ON"})
_SIDES: Final = {"L": "L", "R": "R", "EN": "R", "AN": "R"}
"""Numbers count as right to left where signs between letters are resolved."""

Run = tuple[int, int, int]
"""First character, the one after the last, and the level of all of them."""


def turns(text: str) -> bool:
    """Whether anything in a text is written from right to left."""
    return any(unicodedata.bidirectional(char) in {"R", "AL", "AN"} for char in text)


def isolated(text: str) -> str:
    """Give a text as what another one is filled with: it keeps its own order."""
    return f"{FIRST_STRONG}{text}{POPPED}"


def filled(words: str, **told: object) -> str:
    """Fill words with what they are about, each in its own order.

    Args:
        words: A text with names in braces.
        told: What stands for each name.

    Returns:
        The text; with isolates only where something is written from right to left.
    """
    text = words.format(**told)
    if not turns(text):
        return text
    return words.format(**{name: isolated(str(one)) for name, one in told.items()})


def seen(text: str) -> str:
    """Give a text without what only says how its letters are ordered and joined."""
    return text.translate(_UNSEEN)


def base_of(text: str) -> int:
    """Tell by its first strong letter how a text is read (P2, P3).

    Args:
        text: A paragraph.

    Returns:
        The level of the paragraph: 0 from left to right, 1 from right to left.
    """
    return _base(_kinds(text))


def levels_of(text: str, base: int | None = None) -> tuple[int, ...]:
    """Resolve how deep each character of a paragraph is embedded.

    Args:
        text: The paragraph in its composed form.
        base: Level of the paragraph; none for what ``base_of`` says.

    Returns:
        The level of each character; odd ones are written from right to left.
    """
    kinds = _kinds(text)
    base = _base(kinds) if base is None else base
    levels = [0] * len(kinds)
    _resolve(text, kinds, range(len(kinds)), base, levels)
    ends = True  # L1
    for at in reversed(range(len(kinds))):
        ends = kinds[at] in {"B", "S"} or (ends and kinds[at] in _MAY_END)
        if ends:
            levels[at] = base
    return tuple(levels)


def _kinds(text: str) -> list[str]:
    # Joiners stand within a word, so that they are of it as marks are.
    found = (unicodedata.bidirectional(char) or "L" for char in text)
    return ["NSM" if kind in _PASSED_OVER else kind for kind in found]


def _base(kinds: Sequence[str]) -> int:
    own, _ = _apart(kinds, range(len(kinds)))
    strong = (kinds[at] for at in own if kinds[at] in {"L", "R", "AL"})
    return int(next(strong, "L") != "L")


def _apart(kinds: Sequence[str], span: range) -> tuple[list[int], list[range]]:
    """Split a stretch into what is its own and what its isolates hold (BD9)."""
    own: list[int] = []
    held: list[range] = []
    depth = start = 0
    for at in span:
        depth -= kinds[at] == "PDI" and depth > 0
        if not depth:
            if own and kinds[own[-1]] in _ISOLATES:
                held.append(range(start, at))
            own.append(at)
            start = at + 1
        depth += kinds[at] in _ISOLATES
    if depth:
        held.append(range(start, span.stop))
    return own, held


def _resolve(
    text: str, kinds: Sequence[str], span: range, base: int, levels: list[int]
) -> None:
    """Resolve a stretch of text, and each of its isolates for itself (X5a to X5c).

    What an isolate too deep holds is of the text around it.
    """
    own, held = _apart(kinds, span)
    below = [(inner, _level(kinds, inner, base)) for inner in held]
    for inner, level in below:
        own += inner if level > _DEEPEST else ()
    own.sort()
    side = "LR"[base % 2]
    mine = ["ON" if kinds[at] in _ISOLATING else kinds[at] for at in own]
    found = _weak(mine, side)
    _brackets("".join(text[at] for at in own), mine, found, side)
    _neutral(found, side)
    for at, kind in zip(own, found, strict=True):
        levels[at] = base + _deeper(kind, base % 2)
    for inner, level in below:
        if level <= _DEEPEST:
            _resolve(text, kinds, inner, level, levels)


def _level(kinds: Sequence[str], inner: range, base: int) -> int:
    """Give the level of what an isolate holds."""
    first = kinds[inner.start - 1]
    read = _base(kinds[inner.start : inner.stop]) if first == "FSI" else first == "RLI"
    return base + 1 + (base + 1 + read) % 2


def in_order(levels: Sequence[int]) -> list[Run]:
    """Order the runs of one line as they stand from left to right (L2).

    Args:
        levels: Of each character of the line.

    Returns:
        The runs; the characters of one with an odd level stand the other way round.
    """
    runs: list[Run] = []
    for level, many in groupby(levels):
        start = runs[-1][1] if runs else 0
        runs.append((start, start + len(list(many)), level))
    for level in range(max(levels, default=0), 0, -1):
        placed: list[Run] = []
        for deep, some in groupby(runs, key=lambda run: run[2] >= level):
            part = list(some)
            placed += part[::-1] if deep else part
        runs = placed
    return runs


def _weak(kinds: Sequence[str], side: str) -> list[str]:
    """Resolve numbers, their signs and marks (W1 to W7)."""
    found: list[str] = []
    before = strong = side
    for kind in kinds:
        before = before if kind == "NSM" else kind
        strong = before if before in {"L", "R", "AL"} else strong
        arabic = before == "EN" and strong == "AL"
        found.append("AN" if arabic else "R" if before == "AL" else before)
    for at in range(1, len(found) - 1):
        number, sign, after = found[at - 1 : at + 2]
        if number == after and (number, sign) in {
            ("EN", "ES"),
            ("EN", "CS"),
            ("AN", "CS"),
        }:
            found[at] = number
    _terminators(found)
    strong = side
    for at, kind in enumerate(found):
        strong = kind if kind in {"L", "R"} else strong
        if kind in {"ES", "ET", "CS"}:
            found[at] = "ON"
        elif kind == "EN" and strong == "L":
            found[at] = "L"
    return found


def _terminators(found: list[str]) -> None:
    """Make signs such as % and ° part of the number that they stand at (W5)."""
    at = 0
    for kind, many in groupby(tuple(found)):
        start, at = at, at + len(list(many))
        if kind == "ET" and "EN" in (*found[start - 1 : start], *found[at : at + 1]):
            found[start:at] = ["EN"] * (at - start)


def _brackets(text: str, kinds: Sequence[str], found: list[str], side: str) -> None:
    """Give both brackets of a pair the direction of what they enclose (N0)."""
    for first, last in _pairs(text, found):
        inside = {_SIDES.get(kind) for kind in found[first + 1 : last]} - {None}
        if not inside:
            continue
        new = side
        if side not in inside:
            before = (_SIDES[kind] for kind in found[:first][::-1] if kind in _SIDES)
            new = next(before, side)
        for at in (first, last):
            found[at] = new
            while at + 1 < len(found) and kinds[at + 1] == "NSM":
                at += 1
                found[at] = new


def _pairs(text: str, found: Sequence[str]) -> list[tuple[int, int]]:
    """List the brackets that are pairs, by their first (BD16)."""
    pairs: list[tuple[int, int]] = []
    waiting: list[tuple[str, int]] = []
    for at, char in enumerate(text):
        if found[at] != "ON":
            continue
        if char in _CLOSED_BY:
            if len(waiting) == _MOST_OPEN:
                return []
            waiting.append((_CLOSED_BY[char], at))
        elif char in _CLOSING:
            depth = [wanted for wanted, _ in waiting]
            if char in depth:
                last = len(depth) - 1 - depth[::-1].index(char)
                pairs.append((waiting[last][1], at))
                del waiting[last:]
    return sorted(pairs)


def _neutral(found: list[str], side: str) -> None:
    """Give neutral characters the direction of those around them (N1, N2)."""
    at, before = 0, side
    for neutral, many in groupby(tuple(found), key=_NEUTRAL.__contains__):
        start, at = at, at + len(list(many))
        if neutral:
            after = _SIDES[found[at]] if at < len(found) else side
            found[start:at] = [before if before == after else side] * (at - start)
        else:
            before = _SIDES[found[at - 1]]


def _deeper(kind: str, base: int) -> int:
    """Count the levels that a resolved character is below its paragraph (I1, I2)."""
    if kind == "LR"[base]:
        return 0
    return 1 if base or kind == "R" else 2
