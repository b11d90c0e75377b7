"""Badges' tokens: random enough, the same on every keyboard, and never anything else."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from datetime import date
from math import log2

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from kitting.domain import badges, gs1, numbers
from kitting.domain.commands import Do, is_command
from kitting.domain.errors import CodeError
from kitting.domain.numbers import Kind
from tests.kitting.domain.gs1_vectors import bracketed

LOT_CHARACTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/."
RANDOM = st.binary(min_size=16, max_size=16)
TOKENS = RANDOM.map(badges.make_token)
NUMBERS = st.builds(
    numbers.assign, st.sampled_from(Kind), st.integers(1, 9), st.integers(1, 10**12 - 1)
).filter(bool)
LOTS = st.text(LOT_CHARACTERS, min_size=1, max_size=20)
# The letters of a token, so that a search comes near one at all.
NEAR = st.text(badges.LETTERS + badges.LETTERS.lower() + "0AE- ", max_size=60)

# The rows of letters on three keyboards, key by key (common practice: national layouts
# of ISO/IEC 9995 keyboards for English, German and French).
QWERTY = "QWERTYUIOPASDFGHJKL;ZXCVBNM"
QWERTZ = "QWERTZUIOPASDFGHJKLÖYXCVBNM"
AZERTY = "AZERTYUIOPQSDFGHJKLMWXCVBN,"


def test_a_token_has_its_shape_and_all_the_randomness_it_was_given() -> None:
    assert log2(len(badges.LETTERS)) * 2 * badges.RANDOM_BYTES == 128
    token = badges.make_token(bytes(range(0xF0, 0x100)))
    assert re.fullmatch("BDG[BCDFGHJKLNPRSTVX]{33}", token)
    assert len(token) == badges.LENGTH == 36


@given(RANDOM, RANDOM)
def test_other_bytes_make_another_token(one: bytes, other: bytes) -> None:
    assume(one != other)
    assert badges.make_token(one) != badges.make_token(other)


@pytest.mark.parametrize("count", [0, 15, 17])
def test_a_token_of_too_little_randomness_is_never_made(count: int) -> None:
    with pytest.raises(ValueError, match=f"{count} bytes"):
        badges.make_token(bytes(count))


@given(TOKENS)
def test_the_check_letter_agrees_with_a_reference_library(token: str) -> None:
    # python-stdnum's hybrid system of ISO/IEC 7064, over our sixteen letters.
    assert mod_37_36.is_valid(token, alphabet=badges.LETTERS)


@pytest.mark.parametrize("layout", [QWERTZ, AZERTY])
def test_every_letter_sits_on_the_same_key_of_every_keyboard(layout: str) -> None:
    for letter in badges.LETTERS + badges.PREFIX:
        assert layout.index(letter) == QWERTY.index(letter)


@given(TOKENS)
def test_a_badge_is_read_as_scanners_send_it(token: str) -> None:
    kept = hashlib.sha256(token.encode()).digest()
    for sent in (token, token.lower(), f"]d1{token}\r\n", f" {token[:9]} {token[9:]} "):
        assert badges.is_badge(sent)
        assert badges.holds_badge(sent)
        assert badges.token_hash(sent) == kept


@given(TOKENS, st.integers(3, 35), st.sampled_from(badges.LETTERS))
def test_one_wrong_letter_is_noticed_and_still_not_told(
    token: str, at: int, letter: str
) -> None:
    assume(token[at] != letter)
    misread = token[:at] + letter + token[at + 1 :]
    assert not badges.is_badge(misread)
    assert badges.holds_badge(misread)
    with pytest.raises(CodeError) as refusal:
        badges.token_hash(misread)
    assert (refusal.value.code, refusal.value.params) == ("badge_malformed", {})


@given(st.text(), TOKENS, st.text())
def test_a_token_is_found_in_any_text_and_taken_out_of_it(
    before: str, token: str, after: str
) -> None:
    text = before + token + after
    assert badges.holds_badge(text)
    assert token not in badges.without_badges(text)
    assert badges.IN_PLACE in badges.without_badges(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "BDG",
        "BDG" * 11,
        badges.make_token(bytes(16))[:-1],
        "ABCD" + badges.make_token(bytes(16)),
        badges.make_token(bytes(16)) + "B",
        badges.make_token(bytes(16)).replace("G", "K"),
        badges.make_token(bytes.fromhex("c" * 32)).replace("S", "ſ"),
    ],
)
def test_what_only_looks_a_little_like_a_badge_is_none(text: str) -> None:
    assert not badges.is_badge(text)


# -- Nothing else is a badge -----------------------------------------------------------


@given(NUMBERS)
def test_no_number_of_lotward_is_a_badge(number: str) -> None:
    assert not badges.holds_badge(number)


@given(TOKENS)
def test_no_badge_is_a_number_a_lot_a_command_a_place_or_gs1(token: str) -> None:
    assert numbers.looks_like(token) is None
    assert not is_command(token)
    assert len(token) > 20  # lots; a place's code is shorter still
    with pytest.raises(CodeError):
        numbers.workshop_lot_number(token)
    assert gs1.read_scan(token).kind is gs1.ScanKind.NUMBER
    assert gs1.read_scan(token).number == token


@given(LOTS)
def test_no_lot_number_and_no_code_of_a_place_is_a_badge(number: str) -> None:
    assert not badges.holds_badge(number)


@given(
    st.sampled_from(Do), st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-", max_size=60)
)
def test_no_command_is_a_badge(do: Do, rest: str) -> None:
    assert not badges.is_badge(f"ACT-{do}-{rest}")


@given(NEAR)
def test_no_other_text_of_the_same_letters_is_a_badge(text: str) -> None:
    assert not badges.is_badge(text)


@given(TOKENS, st.integers(0, 36), st.integers(0, 36))
def test_most_of_a_token_is_found_like_the_whole(
    token: str, start: int, end: int
) -> None:
    piece = token[start:end]
    assume(len(set(piece)) >= badges.DIFFERENT)
    assert badges.holds_badge(f"1{piece}2") == (len(piece) >= badges.TELLING)


@pytest.mark.parametrize(
    "text",
    [
        # The longest runs without A, E, I, O, U, M, Q, W, Y, Z in words of any language
        # known to the author are of about ten letters (from memory).
        "Rechtsschutzversicherungsgesellschaften, Angstschweiss, Borschtschschnecken",
        "zmrzl, čtvrthrst, scvrnkls, vrchcholmský",
        "BCDFGHJKLNPRSTVX"[:11] + "BCDFGHJKLNPRSTVX"[:12],
        "x" * 200,
        "dfgbc" * 20,
        "0123456789abcdef" * 4,  # a hash
    ],
)
def test_words_and_hashes_hold_no_badge(text: str) -> None:
    assert not badges.holds_badge(text)


@given(
    st.from_regex("[0-9]{13}", fullmatch=True),
    st.dates(date(2000, 1, 1), date(2049, 12, 31)),
    st.text(badges.LETTERS, min_size=1, max_size=20),
    st.text(badges.LETTERS, min_size=1, max_size=20),
)
def test_no_element_string_is_a_badge(
    body: str, day: date, batch: str, serial: str
) -> None:
    # The fields of our own boxes, with batch and serial at their longest.
    pairs = [
        ("01", body + gs1.check_digit(body)),
        ("13", gs1.yymmdd(day)),
        ("10", batch),
        ("21", serial),
    ]
    message = gs1.element_string(pairs)
    for text in (message, f"]d2{message}", bracketed(pairs)):
        assert not badges.holds_badge(text)


def test_the_letters_of_many_tokens_are_spread_evenly() -> None:
    hashes = (hashlib.sha256(str(n).encode()).digest()[:16] for n in range(500))
    found = Counter(letter for h in hashes for letter in badges.make_token(h)[3:-1])
    assert set(found) == set(badges.LETTERS)
    assert max(found.values()) < 1.2 * min(found.values())
