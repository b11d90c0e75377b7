"""Code 128 against published worked examples, a table and an independent decoder."""

from __future__ import annotations

import re
from io import BytesIO
from itertools import product
from typing import Any

import pytest
import zxingcpp
from barcode.charsets import code128 as tables
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image

from kitting.domain.errors import CodeError
from kitting.labels.code128 import (
    ShortestCode128,
    ShortestGs1128,
    code128,
    gs1_128,
    shortest_values,
)
from tests.kitting.labels.samples import EXAMPLES, TABLE, decoded

CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcxyz"
VARIABLE = ("10", "21", "240", "400", "90", "91")
FIXED = {"00": 18, "01": 14, "11": 6, "13": 6, "17": 6}

fields = st.one_of(
    st.sampled_from(sorted(FIXED)).flatmap(
        lambda ai: st.text("0123456789", min_size=FIXED[ai], max_size=FIXED[ai]).map(
            lambda value: ai + value
        )
    ),
    st.tuples(
        st.sampled_from(VARIABLE),
        st.one_of(
            st.text(CSET_82, min_size=1, max_size=20),
            st.text("0123456789", min_size=1, max_size=20),
        ),
    ).map(lambda pair: "".join(pair) + "\x1d"),
)
element_strings = st.lists(fields, min_size=1, max_size=5).map(
    lambda parts: "".join(parts).removesuffix("\x1d")
)


def raw(name: str) -> str:
    """Take the brackets off; batch 10 is variable, so a separator follows it."""
    return re.sub(r"\((\d+)\)", r"\1", re.sub(r"(\(10\)\w+)\(", "\\1\x1d(", name))


def built(one: dict[str, Any]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    if one["element_string"] is None:
        bars = code128(one["name"])
    else:
        bars = gs1_128(raw(one["element_string"]))
    return bars.widths, bars.values


def drawn(widths: tuple[int, ...]) -> Image.Image:
    """The symbol as an image, 3 dots to the module, with its quiet zones."""
    line = b"\xff" * 30
    for index, modules in enumerate(widths):
        line += bytes([255 * (index % 2)]) * (3 * modules)
    line += b"\xff" * 30
    return Image.frombytes("L", (len(line), 40), line * 40)


@pytest.mark.parametrize("one", EXAMPLES, ids=lambda one: one["name"])
def test_a_worked_example_is_no_shorter_than_ours_and_says_the_same(
    one: dict[str, Any],
) -> None:
    widths, values = built(one)
    published = tuple(map(int, one["widths"]))
    assert decoded(widths) == decoded(published)
    assert len(values) + 2 == one["symbol_characters"]
    assert sum(widths) == one["modules"]


# Three tutorials start capitals in code set A; code set B is as short and ours.
@pytest.mark.parametrize(
    "one",
    [one for one in EXAMPLES if one["values_without_check"][0] != 103],
    ids=lambda one: one["name"],
)
def test_a_worked_example_comes_out_bar_by_bar(one: dict[str, Any]) -> None:
    widths, values = built(one)
    assert "".join(map(str, widths)) == one["widths"]
    assert list(values) == one["values_without_check"]


@pytest.mark.parametrize("one", EXAMPLES, ids=lambda one: one["name"])
def test_check_character_and_bars_of_any_published_choice_of_code_sets(
    one: dict[str, Any],
) -> None:
    class Published(ShortestCode128):
        def _build(self) -> list[int]:
            return list(one["values_without_check"])

    modules = Published("anything").build()[0]
    runs = [len(run) for run in re.findall("1+|0+", modules)]
    assert "".join(map(str, runs)) == one["widths"]
    weighted = Published("anything")._calculate_checksum(one["values_without_check"])
    assert weighted == one["check_value"] == one["weighted_sum"] % 103


def test_the_width_table_is_the_published_one() -> None:
    ours = [
        "".join(str(len(run)) for run in re.findall("1+|0+", modules))
        for modules in tables.CODES
    ]
    assert ours == TABLE["widths"][:106]
    assert all(sum(map(int, widths)) == 11 for widths in ours)


@settings(max_examples=400, deadline=None)
@given(element_strings)
# Both lost a digit or a pair in encoders that were tried: see the module's docstring.
@example("10A\x1d2111111")
@example("9912345678")
@example("10A12345")
@example("10aA\x1d21Zz1")
def test_gs1_data_is_decoded_as_it_was_encoded(data: str) -> None:
    bars = gs1_128(data)
    assert decoded(bars.widths) == "\x1d" + data
    assert bars.values[1] == 102


@settings(max_examples=300, deadline=None)
@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1))
@example("99123456")
@example("99")
@example("1")
def test_a_plain_number_is_decoded_as_it_was_encoded(data: str) -> None:
    assert decoded(code128(data).widths) == data


@settings(max_examples=60, deadline=None)
@given(element_strings.filter(lambda data: len(data) <= 48))
def test_a_decoder_reads_gs1_data(data: str) -> None:
    (read,) = zxingcpp.read_barcodes(drawn(gs1_128(data).widths), is_pure=True)
    assert read.symbology_identifier == "]C1"
    assert read.bytes.decode() == data


@pytest.mark.parametrize("data", ["99123456", "X1-0001234-K", "a1B22c333D4444"])
def test_a_decoder_reads_plain_numbers(data: str) -> None:
    (read,) = zxingcpp.read_barcodes(drawn(code128(data).widths), is_pure=True)
    assert (read.symbology_identifier, read.bytes.decode()) == ("]C0", data)


def fewest(text: str) -> int:
    """Symbol characters of the best encoding, by trying every one of them."""
    reachable = {(0, here) for here in "ABC"}
    taken = 1
    while not any(at == len(text) for at, _ in reachable):
        step = set(product({at for at, _ in reachable}, "ABC"))
        for at, here in reachable:
            char, pair = text[at], text[at : at + 2]
            if char == "\xf1":
                step.add((at + 1, here))
            elif here == "C":
                if len(pair) == 2 and pair.isdecimal():
                    step.add((at + 2, here))
            else:
                # Printable text: code set A lacks small letters but may shift to B at
                # the price of a second character, so it never does better than B.
                if here == "B" or not char.islower():
                    step.add((at + 1, here))
        reachable = step
        taken += 1
    return taken


@settings(max_examples=300, deadline=None)
@given(st.text("AZaz019\xf1", min_size=1, max_size=14))
def test_no_encoding_is_shorter(text: str) -> None:
    assert len(shortest_values(text)) == fewest(text)


# ISO/IEC 15417: one character of the other set costs less with Shift than twice over.
def test_shift_is_used_for_one_odd_character() -> None:
    text = "\x01\x02a\x03\x04"
    values = shortest_values(text)
    assert values == (103, 65, 66, 98, 65, 67, 68)
    modules = ShortestCode128(text).build()[0]
    widths = tuple(len(run) for run in re.findall("1+|0+", modules))
    assert decoded(widths) == text


def test_building_twice_gives_the_same_bars() -> None:
    symbol = ShortestGs1128("10AB12345")
    assert symbol.build() == symbol.build()
    buffer = BytesIO()
    symbol.write(buffer)
    assert symbol.build() == ShortestGs1128("10AB12345").build()


@pytest.mark.parametrize("encode", [code128, gs1_128])
@pytest.mark.parametrize(
    ("data", "code"),
    [("", "nothing_to_encode"), ("Größe", "not_encodable"), ("A\x00", "not_encodable")],
)
def test_what_cannot_be_encoded_is_refused(encode: Any, data: str, code: str) -> None:
    with pytest.raises(CodeError) as caught:
        encode(data)
    assert caught.value.code == code


def test_a_separator_has_no_place_in_a_plain_number() -> None:
    with pytest.raises(CodeError) as caught:
        code128("A\x1dB")
    assert caught.value.params["character"] == "\x1d"
