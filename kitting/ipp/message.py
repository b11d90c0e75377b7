"""What an IPP message is made of: groups of attributes with tagged values.

References:
    RFC 8010 §3.5 for the tags, RFC 8011 §5.1 for the kinds of values and their lengths.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class Section(IntEnum):
    """Tags that open a group of attributes, or end them all (RFC 8010 §3.5.1)."""

    OPERATION = 0x01
    JOB = 0x02
    END = 0x03
    PRINTER = 0x04
    UNSUPPORTED = 0x05


class Tag(IntEnum):
    """Tags of values (RFC 8010 §3.5.2)."""

    UNSUPPORTED = 0x10
    UNKNOWN = 0x12
    NO_VALUE = 0x13
    INTEGER = 0x21
    BOOLEAN = 0x22
    ENUM = 0x23
    OCTETS = 0x30
    DATE_TIME = 0x31
    RESOLUTION = 0x32
    RANGE = 0x33
    BEGIN_COLLECTION = 0x34
    TEXT_WITH_LANGUAGE = 0x35
    NAME_WITH_LANGUAGE = 0x36
    END_COLLECTION = 0x37
    TEXT = 0x41
    NAME = 0x42
    KEYWORD = 0x44
    URI = 0x45
    URI_SCHEME = 0x46
    CHARSET = 0x47
    LANGUAGE = 0x48
    MIME_TYPE = 0x49
    MEMBER_NAME = 0x4A


FIRST_VALUE_TAG = 0x10
OUT_OF_BAND = range(0x10, 0x20)
LONGEST: dict[int, int] = {
    Tag.TEXT: 1023,
    Tag.NAME: 255,
    Tag.KEYWORD: 255,
    Tag.URI: 1023,
    Tag.URI_SCHEME: 63,
    Tag.CHARSET: 63,
    Tag.LANGUAGE: 63,
    Tag.MIME_TYPE: 255,
}
"""Octets that a text of each kind may have (RFC 8011 §5.1)."""
WITH_LANGUAGE: set[int] = {Tag.TEXT_WITH_LANGUAGE, Tag.NAME_WITH_LANGUAGE}


@dataclass(frozen=True, slots=True)
class Range:
    """From the lower to the upper whole number, both included."""

    lower: int
    upper: int


@dataclass(frozen=True, slots=True)
class Resolution:
    """Dots across and along the feed, per inch or per centimetre."""

    cross: int
    feed: int
    units: int
    """3 for dots per inch, 4 for dots per centimetre."""


@dataclass(frozen=True, slots=True)
class Value:
    """One value with the tag of its kind.

    Its data is a number, a truth value, a text, a range, a resolution, the attributes
    of a collection, nothing (for a tag out of band) or plain octets.
    """

    tag: int
    data: int | str | bytes | Range | Resolution | tuple[Attribute, ...] | None
    language: str = ""
    """Of a text or name that brings its own."""


@dataclass(frozen=True, slots=True)
class Attribute:
    """A name with its values in their order; there is at least one."""

    name: str
    values: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Attributes under one section's tag, in their order."""

    tag: int
    attributes: tuple[Attribute, ...] = ()

    def values(self, name: str) -> tuple[Value, ...]:
        """Return the values of an attribute; none when it is not there."""
        for attribute in self.attributes:
            if attribute.name == name:
                return attribute.values
        return ()


@dataclass(frozen=True, slots=True)
class Message:
    """A request, whose code is an operation, or an answer, whose code is a status."""

    code: int
    request_id: int
    groups: tuple[Group, ...]
    data: bytes = b""
    version: tuple[int, int] = (2, 0)

    def of(self, section: int) -> tuple[Group, ...]:
        """Return the groups of one kind, in their order."""
        return tuple(group for group in self.groups if group.tag == section)
