"""Letters stand in the order of the Unicode bidirectional algorithm (UAX #9)."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest

from kitting.labels.bidi import base_of, filled, in_order, levels_of
from tests.trees import ROOT

DATA = ROOT / "tests" / "data" / "bidi"
CLASSES = ["L", "R", "AL", "EN", "AN", "ES", "CS", "ET", "NSM", "S", "WS", "ON"]
ISOLATING = ["LRI", "RLI", "FSI", "PDI"]
CHARACTERS = "aאا1٣+,%\u0300\t !\u2066\u2067\u2068\u2069"
SAMPLES = dict(zip((*CLASSES, *ISOLATING), CHARACTERS, strict=True))
"""A character of each class; BidiTest.txt names classes only."""


def lines(path: Path) -> list[str]:
    return path.read_text().splitlines()


def ordered(levels: tuple[int, ...]) -> list[int]:
    return [
        at
        for start, after, level in in_order(levels)
        for at in (range(start, after)[::-1] if level % 2 else range(start, after))
    ]


def numbers(text: str) -> list[int]:
    return [int(figure) for figure in text.split()]


def test_published_texts_are_ordered_as_published() -> None:
    cases = lines(DATA / "BidiCharacterTest.txt")
    assert len(cases) > 700
    for case in cases:
        codes, way, base, levels, order = case.split(";")
        text = "".join(
            unicodedata.normalize("NFC", chr(int(code, 16))) for code in codes.split()
        )
        if way == "2":
            assert base_of(text) == int(base), case
        found = levels_of(text, None if way == "2" else int(way))
        assert list(found) == numbers(levels), case
        assert ordered(found) == numbers(order), case


def isolating() -> Iterator[tuple[str, int | None, list[int], list[int]]]:
    levels: list[int] = []
    order: list[int] = []
    for line in lines(DATA / "BidiTest.txt"):
        if line.startswith("@Levels:"):
            levels = numbers(line.partition(":")[2])
        elif line.startswith("@Reorder:"):
            order = numbers(line.partition(":")[2])
        else:
            kinds, bits = line.split(";")
            for bit, base in ((1, None), (2, 0), (4, 1)):
                if int(bits) & bit:
                    yield kinds, base, levels, order


def test_published_isolates_keep_what_they_hold_apart() -> None:
    cases = list(isolating())
    assert len(cases) > 500
    for kinds, base, levels, order in cases:
        found = levels_of("".join(SAMPLES[kind] for kind in kinds.split()), base)
        assert (list(found), ordered(found)) == (levels, order), (kinds, base)


@pytest.mark.parametrize("pair", lines(DATA / "BidiBrackets.txt"))
def test_published_pairs_of_brackets_belong_together(pair: str) -> None:
    first, last = (
        unicodedata.normalize("NFC", chr(int(code, 16))) for code in pair.split(";")[:2]
    )
    # From left to right, "ב" would take what stands before it with it.
    assert levels_of(f"a {first}אב{last}", 1) == (2, 1, 1, 1, 1, 1)
    assert levels_of(f"אב {first}a{last} ב", 0)[3::2] == (0, 0, 1)


def test_nothing_is_embedded_deeper_than_the_standard_allows() -> None:
    """UAX #9, BD2 and X5a to X5c: 125 levels; what would be deeper stays where it is.

    ICU 72 gives the same levels.
    """
    turned = "\u2067\u2066" * 600 + "a"
    assert levels_of(turned) == (*range(125), *[125] * (1_200 - 125), 126)
    assert levels_of("\u2068" * 1_200 + "a", 0)[-1] == 124
    # After 62 isolates one more is too deep: its sign and what it holds are of one text.
    within = levels_of("\u2066" * 62 + "א\u2066ב\u2069a", 0)
    assert within[62:] == (125, 125, 125, 124, 124)


@pytest.mark.parametrize("sign", "\u202a\u202b\u202c\u202d\u202e")
def test_embeddings_and_overrides_turn_nothing(sign: str) -> None:
    # UAX #9, X9: such characters are passed over; they take the level before them (5.2).
    assert levels_of(f"מגן{sign}ABC", 1) == (1, 1, 1, 1, 2, 2, 2)
    assert levels_of(f"A{sign}אב", 0) == (0, 0, 1, 1)


def test_a_telephone_number_keeps_its_order_in_words_read_from_the_right() -> None:
    number = "+44 1632 960123"
    for words in ("שאלות: {contact}", "للأسئلة: {contact}"):
        said = filled(words, contact=number)
        order = ordered(levels_of(said))
        assert number in "".join(said[at] for at in order)
    assert filled("Questions: {contact}", contact=number) == f"Questions: {number}"
