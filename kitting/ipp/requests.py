"""What is asked of a printer, as messages.

References:
    RFC 8011 §4.2 (printers) and §4.3 (jobs); PWG 5100.7 for ``media-col``,
    PWG 5100.13 for ``print-scaling``.
"""

from __future__ import annotations

from enum import IntEnum

from kitting.domain.errors import Refused
from kitting.ipp.facts import Media
from kitting.ipp.message import LONGEST, Attribute, Group, Section, Tag, Value

ABOUT_PRINTER = (
    "document-format-supported",
    "media-col-database",
    "media-col-ready",
    "media-ready",
    "media-size-supported",
    "media-supported",
    "operations-supported",
    "print-scaling-supported",
    "printer-is-accepting-jobs",
    "printer-make-and-model",
    "printer-name",
    "printer-resolution-supported",
    "printer-state",
    "printer-state-message",
    "printer-state-reasons",
    "printer-up-time",
)
ABOUT_JOB = (
    "job-id",
    "job-name",
    "job-state",
    "job-state-message",
    "job-state-reasons",
    "time-at-completed",
)


class Operation(IntEnum):
    """Operations by their codes (RFC 8011 §5.4.15)."""

    PRINT_JOB = 0x0002
    VALIDATE_JOB = 0x0004
    CANCEL_JOB = 0x0008
    GET_JOB_ATTRIBUTES = 0x0009
    GET_JOBS = 0x000A
    GET_PRINTER_ATTRIBUTES = 0x000B


def one(name: str, tag: Tag, *values: str | int) -> Attribute:
    """Make an attribute of values of one kind.

    Raises:
        Refused: ``printer_text_too_long`` for a text that its kind cannot hold.
    """
    for value in values:
        octets = len(value.encode()) if isinstance(value, str) else 0
        if octets > LONGEST.get(tag, octets):
            raise Refused(
                "printer_text_too_long", what=name, octets=octets, most=LONGEST[tag]
            )
    return Attribute(name, tuple(Value(tag, value) for value in values))


def operation_group(uri: str, user: str, *others: Attribute) -> Group:
    """Make the group that opens every request: charset and language come first.

    Args:
        uri: The printer's.
        user: Who asks.
        *others: The operation's own attributes.

    Raises:
        Refused: ``printer_text_too_long``.
    """
    return Group(
        Section.OPERATION,
        (
            one("attributes-charset", Tag.CHARSET, "utf-8"),
            one("attributes-natural-language", Tag.LANGUAGE, "en-gb"),
            one("printer-uri", Tag.URI, uri),
            # A job is told by its printer and number, which follows (RFC 8011 §4.1.5).
            *(other for other in others if other.name == "job-id"),
            one("requesting-user-name", Tag.NAME, user),
            *(other for other in others if other.name != "job-id"),
        ),
    )


def about_document(name: str) -> tuple[Attribute, ...]:
    """Say what the document is, and that it is to be printed as asked or not at all.

    Raises:
        Refused: ``printer_text_too_long`` for a name of more than 255 octets.
    """
    return (
        one("job-name", Tag.NAME, name),
        Attribute("ipp-attribute-fidelity", (Value(Tag.BOOLEAN, data=True),)),
        one("document-format", Tag.MIME_TYPE, "application/pdf"),
    )


def job_group(media: Media, *, unscaled: bool) -> Group:
    """Say on what to print; one copy is what every printer makes unasked.

    Args:
        media: The size of the page and of what is loaded.
        unscaled: Whether to ask that the page is not scaled to the printable area.
    """
    attributes = [Attribute("media-col", (_media_col(media),))]
    if unscaled:
        attributes.append(one("print-scaling", Tag.KEYWORD, "none"))
    return Group(Section.JOB, tuple(attributes))


def _media_col(media: Media) -> Value:
    size = (
        one("x-dimension", Tag.INTEGER, _hundredths(media.width_um)),
        one("y-dimension", Tag.INTEGER, _hundredths(media.height_um)),
    )
    members = [Attribute("media-size", (Value(Tag.BEGIN_COLLECTION, size),))]
    if media.margins_um is not None:
        sides = ("top", "right", "bottom", "left")
        for side, um in zip(sides, media.margins_um, strict=True):
            name = f"media-{side}-margin"
            members.append(one(name, Tag.INTEGER, _hundredths(um)))
    return Value(Tag.BEGIN_COLLECTION, tuple(members))


def _hundredths(um: int) -> int:
    """Return hundredths of a millimetre, the unit of PWG 5101.1, to the nearest."""
    return (um + 5) // 10
