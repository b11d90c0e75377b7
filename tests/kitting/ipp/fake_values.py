"""Attributes for the printer of the tests, made and read in few words."""

from __future__ import annotations

from typing import Any

from kitting.ipp.message import Attribute, Group, Range, Tag, Value


def attribute(name: str, tag: int, *values: str | int) -> Attribute:
    return Attribute(name, tuple(Value(tag, value) for value in values))


def collection(members: tuple[Attribute, ...]) -> Value:
    return Value(Tag.BEGIN_COLLECTION, members)


def size(width: int | Range, height: int | Range) -> tuple[Attribute, ...]:
    sides = {"x-dimension": width, "y-dimension": height}
    return tuple(
        Attribute(
            name,
            (Value(Tag.RANGE if isinstance(side, Range) else Tag.INTEGER, side),),
        )
        for name, side in sides.items()
    )


def get(group: Group, name: str) -> Any:
    values = group.values(name)
    return values[0].data if values else None


def media_of(wishes: Group) -> tuple[int, int]:
    """Return the size that a job asks for, in hundredths of a millimetre."""
    inner = Group(0, get(wishes, "media-col") or ())
    sides = Group(0, get(inner, "media-size") or ())
    return get(sides, "x-dimension") or 0, get(sides, "y-dimension") or 0
