"""Messages of the Internet Printing Protocol as octets, and octets as messages.

What is written is checked against the lengths of RFC 8011 §5.1. What is read comes from
somebody's printer: values of unknown kinds are kept as octets, what stands in a wrong
place is passed over, and only what cannot be followed any further is refused.

References:
    RFC 8010 §3, Encoding of the Operation Layer; examples in its Appendix A.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from kitting.ipp.message import (
    FIRST_VALUE_TAG,
    LONGEST,
    OUT_OF_BAND,
    WITH_LANGUAGE,
    Attribute,
    Group,
    Message,
    Range,
    Resolution,
    Section,
    Tag,
    Value,
)

MOST_VALUES = 50_000
"""More values than any printer has; beyond that an answer is refused."""
DEEPEST = 8
"""Collections within collections; those that are registered go three deep."""


class Malformed(ValueError):
    """Octets that cannot be followed; the text says why."""


# -- Writing ---------------------------------------------------------------------------


def encode(message: Message) -> bytes:
    """Write a message as octets, its document behind it.

    Raises:
        Malformed: If a value is longer than its kind may be, or does not fit its tag.
    """
    major, minor = message.version
    try:
        head = struct.pack(">BBHi", major, minor, message.code, message.request_id)
        body = b"".join(_group(group) for group in message.groups)
    except struct.error:
        raise Malformed("a number or a length is out of range") from None
    return head + body + bytes([Section.END]) + message.data


def _group(group: Group) -> bytes:
    return bytes([group.tag]) + b"".join(map(_attribute, group.attributes))


def _attribute(attribute: Attribute) -> bytes:
    if not attribute.name or not attribute.values:
        raise Malformed("an attribute has no name or no value")
    first, *others = attribute.values
    return _value(attribute.name, first) + b"".join(_value("", v) for v in others)


def _value(name: str, value: Value) -> bytes:
    if isinstance(value.data, tuple):
        members = b"".join(map(_member, value.data))
        opened = _field(Tag.BEGIN_COLLECTION, name, b"")
        return opened + members + _field(Tag.END_COLLECTION, "", b"")
    return _field(value.tag, name, _octets(value))


def _member(attribute: Attribute) -> bytes:
    name = attribute.name.encode()
    values = b"".join(_value("", value) for value in attribute.values)
    return _field(Tag.MEMBER_NAME, "", name) + values


def _field(tag: int, name: str, octets: bytes) -> bytes:
    label = name.encode()
    if len(label) > LONGEST[Tag.KEYWORD]:
        raise Malformed("a name is longer than 255 octets")
    return (
        struct.pack(">BH", tag, len(label))
        + label
        + struct.pack(">h", len(octets))
        + octets
    )


def _octets(value: Value) -> bytes:
    """Write what stands behind the length of a value that is no collection."""
    match value.data:
        case None:
            return b""
        case bytes(octets):
            return octets
        case str(text):
            return _text(value.tag, text, value.language)
        case Range(lower, upper):
            return struct.pack(">ii", lower, upper)
        case Resolution(cross, feed, units):
            return struct.pack(">iib", cross, feed, units)
        case int(number) if value.tag == Tag.BOOLEAN:
            return bytes([bool(number)])
        case int(number):
            return struct.pack(">i", number)
    raise Malformed("a value is of no kind that can be written")


def _text(tag: int, text: str, language: str) -> bytes:
    octets = text.encode()
    if len(octets) > LONGEST.get(tag, len(octets)):
        raise Malformed("a text is longer than its kind may be")
    if tag not in WITH_LANGUAGE:
        return octets
    spoken = language.encode()
    lengths = struct.pack(">h", len(spoken)), struct.pack(">h", len(octets))
    return lengths[0] + spoken + lengths[1] + octets


# -- Reading ---------------------------------------------------------------------------


def decode(octets: bytes) -> Message:
    """Read a message; what follows its end stands in ``data``.

    Raises:
        Malformed: If it is cut short, has too many values, or collections too deep.
    """
    if len(octets) < struct.calcsize(">BBHi"):
        raise Malformed("it is cut short in its first eight octets")
    major, minor, code, request_id = struct.unpack_from(">BBHi", octets)
    reader = _Reader(octets)
    groups = tuple(reader.groups())
    return Message(code, request_id, groups, octets[reader.at :], (major, minor))


@dataclass(frozen=True, slots=True)
class _Field:
    tag: int
    name: str
    octets: bytes


class _Reader:
    """Walks through the groups of a message; ``at`` is the next octet."""

    def __init__(self, octets: bytes) -> None:
        self.octets = octets
        self.at = 8
        self.values = 0

    def groups(self) -> Iterator[Group]:
        """Give each group until the end tag."""
        tag = self._byte()
        while tag != Section.END:
            if tag >= FIRST_VALUE_TAG:
                # No group is open yet: what stands there belongs to none.
                self._field(tag)
                tag = self._byte()
                continue
            attributes, following = self._attributes()
            yield Group(tag, attributes)
            tag = following

    def _attributes(self) -> tuple[tuple[Attribute, ...], int]:
        """Read to the tag that opens the next group, and give that as well."""
        found: list[tuple[str, list[Value]]] = []
        while (tag := self._byte()) >= FIRST_VALUE_TAG:
            field = self._field(tag)
            value = self._value(field, 0)
            if field.name:
                found.append((field.name, [value]))
            elif found:
                found[-1][1].append(value)
        return tuple(Attribute(name, tuple(values)) for name, values in found), tag

    def _value(self, field: _Field, depth: int) -> Value:
        self.values += 1
        if self.values > MOST_VALUES:
            raise Malformed("it has too many values")
        if field.tag == Tag.BEGIN_COLLECTION:
            return Value(field.tag, self._collection(depth + 1))
        return _read_value(field)

    def _collection(self, depth: int) -> tuple[Attribute, ...]:
        if depth > DEEPEST:
            raise Malformed("its collections are too deep")
        found: list[tuple[str, list[Value]]] = []
        while True:
            tag = self._byte()
            if tag < FIRST_VALUE_TAG:
                raise Malformed("a collection is not closed")
            field = self._field(tag)
            if tag == Tag.END_COLLECTION:
                return tuple(Attribute(name, tuple(vs)) for name, vs in found if vs)
            if tag == Tag.MEMBER_NAME:
                found.append((_utf8(field.octets), []))
                continue
            value = self._value(field, depth)
            if found:
                found[-1][1].append(value)

    def _field(self, tag: int) -> _Field:
        name = self._take(self._length())
        return _Field(tag, _utf8(name), self._take(self._length()))

    def _byte(self) -> int:
        return self._take(1)[0]

    def _length(self) -> int:
        length = int.from_bytes(self._take(2), "big", signed=True)
        if length < 0:
            raise Malformed("a length is below 0")
        return length

    def _take(self, count: int) -> bytes:
        taken = self.octets[self.at : self.at + count]
        if len(taken) < count:
            raise Malformed("it is cut short")
        self.at += count
        return taken


def _read_value(field: _Field) -> Value:
    """Read one value; one whose length does not fit its tag stays as octets."""
    tag, octets = field.tag, field.octets
    if tag in OUT_OF_BAND:
        return Value(tag, None)
    if tag in WITH_LANGUAGE:
        return _with_language(tag, octets)
    if tag in LONGEST:
        return Value(tag, _utf8(octets))
    match tag, len(octets):
        case ((Tag.INTEGER | Tag.ENUM), 4):
            return Value(tag, int.from_bytes(octets, "big", signed=True))
        case Tag.BOOLEAN, 1:
            return Value(tag, octets != b"\0")
        case Tag.RANGE, 8:
            return Value(tag, Range(*struct.unpack(">ii", octets)))
        case Tag.RESOLUTION, 9:
            return Value(tag, Resolution(*struct.unpack(">iib", octets)))
    return Value(tag, octets)


def _with_language(tag: int, octets: bytes) -> Value:
    spoken = int.from_bytes(octets[:2], "big")
    language, rest = octets[2 : 2 + spoken], octets[2 + spoken :]
    written = int.from_bytes(rest[:2], "big")
    text = rest[2:]
    if len(language) < spoken or len(rest) < 2 or len(text) != written:
        return Value(tag, octets)
    return Value(tag, _utf8(text), _utf8(language))


def _utf8(octets: bytes) -> str:
    return octets.decode("utf-8", "replace")
