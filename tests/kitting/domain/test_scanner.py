"""What a scanner typed, and what is wrong with its settings."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import gs1
from kitting.domain.scanner import (
    COMMAND,
    ELEMENTS,
    Key,
    arrived,
    faults,
    trial,
    wanted,
)

GS = Key("]", "BracketRight", control=True)
ENTER = Key("Enter", "Enter")
SIGNS = wanted().split(gs1.GS)


def typed(text: str, ms: int = 5) -> list[Key]:
    return [Key(sign, ms=ms) for sign in text]


def codes(keys: list[Key], stand_in: str = "") -> list[str]:
    return [fault.code for fault in faults(arrived(keys, stand_in))]


def fields(separator: list[Key], end: list[Key], of: list[str] = SIGNS) -> list[Key]:
    return [*typed("]d2" + of[0]), *separator, *typed(of[1]), *end]


def test_the_symbol_of_the_trial_is_gs1_and_needs_its_separator() -> None:
    read = gs1.read_scan("]d2" + wanted())
    assert (read.elements, read.problem) == (ELEMENTS, None)
    assert len(SIGNS) == 2


@pytest.mark.parametrize(
    "separator",
    [GS, Key("F8"), Key("\x1d"), Key("+", "BracketRight", control=True)],
)
@pytest.mark.parametrize(
    "end", [ENTER, Key("Tab"), Key("m", control=True), Key("j", control=True)]
)
def test_a_scanner_that_is_set_right_has_no_fault(separator: Key, end: Key) -> None:
    keys = fields([separator], [end])
    assert codes(keys) == []
    assert arrived(keys).text == "]d2" + wanted()
    assert trial(arrived(keys)) == "elements"
    assert codes([*typed("]C0" + COMMAND), end]) == []


def test_two_keys_at_the_end_are_its_end() -> None:
    scan = arrived([*typed("]C0" + COMMAND), ENTER, Key("j", control=True)])
    assert (scan.suffix, scan.text) == (("Enter", "Enter"), "]C0" + COMMAND)


@pytest.mark.parametrize(
    ("keys", "wrong"),
    [
        (fields([], [ENTER]), ["separator_missing"]),
        (fields([Key("~")], [ENTER]), ["separator_unknown"]),
        (fields([Key("F7")], [ENTER]), ["separator_unknown"]),
        (fields([GS], []), ["suffix_missing"]),
        ([*typed(COMMAND), ENTER], ["identifier_missing"]),
        (typed("]C0" + COMMAND, ms=90), ["suffix_missing_slow"]),
        ([*typed("]C0act-next"), ENTER], ["capitals_lost"]),
        ([*typed("]C0ACTßNEXT"), ENTER], ["keyboard_other"]),
        (
            fields([GS], [ENTER], of=["0102000000000039" + "10ZYß10", "21QAYßWXM"]),
            ["keyboard_other"],
        ),
        ([*typed("]C0B1000042T"), ENTER], []),
    ],
)
def test_what_is_wrong_is_named(keys: list[Key], wrong: list[str]) -> None:
    assert codes(keys) == wrong


def test_swapped_signs_are_named_each_once() -> None:
    keys = fields([GS], [ENTER], of=["0102000000000039" + "10ZYß10", "21QAYßWXM"])
    [fault] = faults(arrived(keys))
    assert dict(fault.params)["signs"] == "Y → Z, Z → Y, - → ß"


def test_a_keyboard_with_other_signs_in_place_of_digits_is_known() -> None:
    french = str.maketrans("0123456789QAZWM-]", "à&é\"'(-è_çAQWZ,)$")
    sent = [typed(part.translate(french)) for part in ("]d2" + SIGNS[0], SIGNS[1])]
    keys = [*sent[0], GS, *sent[1], ENTER]
    assert trial(arrived(keys)) == "elements"
    assert codes(keys) == ["keyboard_other"]


def test_the_sign_in_place_of_the_separator_is_named_and_may_be_chosen() -> None:
    keys = fields([Key("~")], [ENTER])
    [fault] = faults(arrived(keys))
    assert dict(fault.params)["key"] == "~"
    assert codes(keys, stand_in="~") == []
    assert arrived(keys, "~").text == "]d2" + wanted()


KEYS = st.builds(
    Key, st.text(max_size=5), st.text(max_size=5), st.booleans(), st.integers()
)


@given(st.lists(KEYS, max_size=40), st.text(max_size=3))
def test_any_keys_are_read(keys: list[Key], stand_in: str) -> None:
    scan = arrived(keys, stand_in)
    assert len(scan.tokens) + len(scan.suffix) == len(keys)
    assert all(fault.code for fault in faults(scan))
