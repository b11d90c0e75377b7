"""Octets and messages: the standard's examples, and whatever else may come."""

from __future__ import annotations

import string
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.ipp.codec import DEEPEST, MOST_VALUES, Malformed, decode, encode
from kitting.ipp.message import (
    LONGEST,
    Attribute,
    Group,
    Message,
    Range,
    Resolution,
    Section,
    Tag,
    Value,
)
from tests.kitting.ipp import rfc8010
from tests.kitting.ipp.fake_values import attribute, collection, size

URI = "ipp://printer.example.com/ipp/print/pinetree"
OPENING = (
    attribute("attributes-charset", Tag.CHARSET, "utf-8"),
    attribute("attributes-natural-language", Tag.LANGUAGE, "en-us"),
)
PRINTER_URI = attribute("printer-uri", Tag.URI, URI)
COPIES = attribute("copies", Tag.INTEGER, 20)
JOB = Group(
    Section.JOB,
    (
        attribute("job-id", Tag.INTEGER, 147),
        attribute("job-uri", Tag.URI, f"{URI}/147"),
        attribute("job-state", Tag.ENUM, 3),
    ),
)
UNSUPPORTED = Group(
    Section.UNSUPPORTED,
    (COPIES, Attribute("sides", (Value(Tag.UNSUPPORTED, None),))),
)


def opened(*others: Attribute) -> Group:
    return Group(Section.OPERATION, (*OPENING, *others))


def said(text: str) -> Group:
    return opened(attribute("status-message", Tag.TEXT, text))


def named(number: int, name: str, language: str) -> Group:
    value = Value(Tag.NAME_WITH_LANGUAGE, name, language)
    return Group(
        Section.JOB,
        (attribute("job-id", Tag.INTEGER, number), Attribute("job-name", (value,))),
    )


# The right-hand columns of the tables in RFC 8010, Appendix A.
MEANT = {
    "A.1": Message(
        0x0002,
        1,
        (
            opened(
                PRINTER_URI,
                attribute("job-name", Tag.NAME, "foobar"),
                Attribute("ipp-attribute-fidelity", (Value(Tag.BOOLEAN, True),)),
            ),
            Group(
                Section.JOB,
                (COPIES, attribute("sides", Tag.KEYWORD, "two-sided-long-edge")),
            ),
        ),
        b"%!PDF...",
        (1, 1),
    ),
    "A.2": Message(0, 1, (said("successful-ok"), JOB), version=(1, 1)),
    "A.3": Message(
        0x040B,
        1,
        (said("client-error-attributes-or-values-not-supported"), UNSUPPORTED),
        version=(1, 1),
    ),
    "A.4": Message(
        1,
        1,
        (said("successful-ok-ignored-or-substituted-attributes"), UNSUPPORTED, JOB),
        version=(1, 1),
    ),
    "A.5": Message(
        0x0003,
        1,
        (
            opened(
                PRINTER_URI,
                attribute("document-uri", Tag.URI, "ftp://foo.com/foo"),
                attribute("job-name", Tag.NAME, "foobar"),
            ),
            Group(Section.JOB, (attribute("copies", Tag.INTEGER, 1),)),
        ),
        version=(1, 1),
    ),
    "A.6": Message(0x0005, 1, (opened(PRINTER_URI),), version=(1, 1)),
    "A.7": Message(
        0x0005,
        1,
        (
            opened(
                PRINTER_URI,
                Attribute(
                    "media-col",
                    (
                        collection(
                            (
                                Attribute(
                                    "media-size", (collection(size(21_000, 29_700)),)
                                ),
                                attribute("media-type", Tag.KEYWORD, "stationery"),
                            )
                        ),
                    ),
                ),
            ),
        ),
        version=(1, 1),
    ),
    "A.8": Message(
        0x000A,
        123,
        (
            opened(
                PRINTER_URI,
                attribute("limit", Tag.INTEGER, 50),
                attribute(
                    "requested-attributes",
                    Tag.KEYWORD,
                    "job-id",
                    "job-name",
                    "document-format",
                ),
            ),
        ),
        version=(1, 1),
    ),
    "A.9": Message(
        0,
        123,
        (
            said("successful-ok"),
            named(147, "fou", "fr-ca"),
            Group(Section.JOB),
            named(149, "isch guet", "de-CH"),
        ),
        version=(1, 1),
    ),
}


@pytest.mark.parametrize("section", rfc8010.ALL)
def test_an_example_of_the_standard_is_read(section: str) -> None:
    assert decode(rfc8010.ALL[section]) == MEANT[section]


@pytest.mark.parametrize("section", rfc8010.ALL)
def test_an_example_of_the_standard_is_written(section: str) -> None:
    assert encode(MEANT[section]) == rfc8010.ALL[section]


# -- What is written comes back ---------------------------------------------------------

NUMBERS = st.integers(-(2**31), 2**31 - 1)
NAMES = st.text(string.ascii_lowercase + "-", min_size=1, max_size=30)
TEXTS = st.text(max_size=60)
SIMPLE = st.one_of(
    st.builds(Value, st.sampled_from([Tag.INTEGER, Tag.ENUM]), NUMBERS),
    st.builds(Value, st.just(Tag.BOOLEAN), st.booleans()),
    st.builds(Value, st.sampled_from([Tag.TEXT, Tag.NAME]), TEXTS),
    st.builds(Value, st.sampled_from([Tag.KEYWORD, Tag.MIME_TYPE]), NAMES),
    st.builds(
        Value,
        st.sampled_from([Tag.TEXT_WITH_LANGUAGE, Tag.NAME_WITH_LANGUAGE]),
        TEXTS,
        NAMES,
    ),
    st.builds(Value, st.just(Tag.RANGE), st.builds(Range, NUMBERS, NUMBERS)),
    st.builds(
        Value,
        st.just(Tag.RESOLUTION),
        st.builds(Resolution, NUMBERS, NUMBERS, st.sampled_from([3, 4])),
    ),
    st.builds(Value, st.sampled_from([Tag.NO_VALUE, Tag.UNKNOWN]), st.none()),
    st.builds(Value, st.sampled_from([Tag.OCTETS, 0x7F, 0x3B]), st.binary(max_size=40)),
)


def attributes(values: st.SearchStrategy[Value]) -> st.SearchStrategy[Attribute]:
    several = st.lists(values, min_size=1, max_size=3).map(tuple)
    return st.builds(Attribute, NAMES, several)


VALUES = st.recursive(
    SIMPLE,
    lambda inner: st.builds(
        Value,
        st.just(Tag.BEGIN_COLLECTION),
        st.lists(attributes(inner), max_size=3).map(tuple),
    ),
    max_leaves=6,
)
GROUPS = st.builds(
    Group,
    st.sampled_from([1, 2, 4, 5, 6, 9]),
    st.lists(attributes(VALUES), max_size=4).map(tuple),
)
MESSAGES = st.builds(
    Message,
    st.integers(0, 0x7FFF),
    NUMBERS,
    st.lists(GROUPS, max_size=4).map(tuple),
    st.binary(max_size=50),
    st.sampled_from([(1, 1), (2, 0), (2, 2)]),
)


@given(MESSAGES)
def test_what_is_written_is_read_as_it_was(message: Message) -> None:
    assert decode(encode(message)) == message


@given(st.binary(max_size=600))
def test_any_octets_are_read_or_refused(octets: bytes) -> None:
    try:
        message = decode(octets)
    except Malformed:
        return
    assert len(octets) >= 9
    assert len(message.data) <= len(octets) - 9


@given(MESSAGES, st.data())
def test_a_message_with_wrong_octets_is_read_or_refused(
    message: Message, data: st.DataObject
) -> None:
    octets = bytearray(encode(message))
    places = st.tuples(st.integers(8, len(octets) - 1), st.integers(0, 255))
    for place, octet in data.draw(st.lists(places, min_size=1, max_size=8)):
        octets[place] = octet
    with suppress(Malformed):
        assert decode(bytes(octets)).code == message.code


@given(MESSAGES, st.data())
def test_a_message_that_is_cut_short_is_refused(
    message: Message, data: st.DataObject
) -> None:
    whole = encode(message)
    end = len(whole) - len(message.data)
    with pytest.raises(Malformed):
        decode(whole[: data.draw(st.integers(0, end - 1))])


# -- What is passed over, and what is refused --------------------------------------------


def answer(*fields: str | bytes) -> bytes:
    return rfc8010.octets("0200 0000 00000001", *fields, "03")


def test_a_value_before_any_name_and_an_attribute_before_any_group_are_left_out() -> (
    None
):
    octets = answer(
        "21 0001", b"x", "0004 00000001", "01", "21 0000 0004 00000002",
        "44 0001", b"y", "0002", b"no",
    )  # fmt: skip
    (group,) = decode(octets).groups
    assert group.attributes == (attribute("y", Tag.KEYWORD, "no"),)


@pytest.mark.parametrize(
    ("tag", "octets"),
    [
        (Tag.INTEGER, b"\0\0\1"),
        (Tag.ENUM, b""),
        (Tag.BOOLEAN, b"\0\1"),
        (Tag.RANGE, b"\0" * 7),
        (Tag.RESOLUTION, b"\0" * 8),
        (Tag.NAME_WITH_LANGUAGE, b"\0\5fr"),
        (Tag.TEXT_WITH_LANGUAGE, b"\0\2fr\0\7abc"),
        (0x3F, b"any"),
    ],
)
def test_a_value_of_a_wrong_length_or_unknown_kind_stays_octets(
    tag: int, octets: bytes
) -> None:
    field = bytes([tag]) + b"\0\1x" + len(octets).to_bytes(2, "big") + octets
    (group,) = decode(answer("04", field)).groups
    assert group.values("x") == (Value(tag, octets),)


def test_text_that_is_no_utf_8_is_read_with_marks_for_what_is_not() -> None:
    (group,) = decode(answer("01", "41 0001", b"x", "0002", b"\xffa")).groups
    assert group.values("x")[0].data == "�a"


def test_values_in_a_collection_without_a_member_name_are_left_out() -> None:
    octets = answer(
        "04", "34 0001", b"c", "0000", "21 0000 0004 00000001",
        "4a 0000 0001", b"m", "21 0000 0004 00000002", "4a 0000 0001", b"n",
        "37 0000 0000",
    )  # fmt: skip
    (group,) = decode(octets).groups
    assert group.values("c")[0].data == (attribute("m", Tag.INTEGER, 2),)


@pytest.mark.parametrize(
    ("octets", "why"),
    [
        (b"", "first eight octets"),
        (b"\2\0\0\0\0\0\0", "first eight octets"),
        (b"\2\0\0\0\0\0\0\1", "cut short"),
        (answer("01", "44 ffff"), "below 0"),
        (answer("01", "44 0001", b"x", "7fff"), "cut short"),
        (answer("01", "34 0001", b"c", "0000"), "not closed"),
        (
            answer("01", "34 0001", b"c", "0000", "34 0000 0000" * DEEPEST),
            "too deep",
        ),
        (answer("01", b"\x13\0\1x\0\0" * (MOST_VALUES + 1)), "too many values"),
    ],
)
def test_what_cannot_be_followed_is_refused(octets: bytes, why: str) -> None:
    with pytest.raises(Malformed, match=why):
        decode(octets)


# RFC 8011 §5.1.2 to §5.1.10: the most octets of each kind.
MOST = {
    Tag.TEXT: 1023,
    Tag.NAME: 255,
    Tag.KEYWORD: 255,
    Tag.URI: 1023,
    Tag.URI_SCHEME: 63,
    Tag.CHARSET: 63,
    Tag.LANGUAGE: 63,
    Tag.MIME_TYPE: 255,
}


@pytest.mark.parametrize(("tag", "most"), MOST.items())
def test_a_text_is_as_long_as_its_kind_may_be_in_octets(tag: Tag, most: int) -> None:
    assert LONGEST[tag] == most

    def message(text: str) -> Message:
        return Message(0, 1, (Group(1, (attribute("x", tag, text),)),))

    assert decode(encode(message("a" * most))) == message("a" * most)
    with pytest.raises(Malformed, match="longer"):
        encode(message("é" + "a" * (most - 1)))


@pytest.mark.parametrize(
    "bad",
    [
        Attribute("", (Value(Tag.INTEGER, 1),)),
        Attribute("x", ()),
        Attribute("x" * 256, (Value(Tag.INTEGER, 1),)),
        Attribute("x", (Value(Tag.INTEGER, 2**31),)),
        Attribute("x", (Value(Tag.OCTETS, b"\0" * 40_000),)),
    ],
)
def test_what_no_message_can_hold_is_not_written(bad: Any) -> None:
    with pytest.raises(Malformed):
        encode(Message(0, 1, (Group(1, (bad,)),)))
