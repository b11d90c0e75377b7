"""A file of consignees as it comes out of a spreadsheet.

======================  ========================================================
code                    needed; of one that is on record that one is changed
name, street, city      needed for a new one; lines of a street, and the
points                  delivery points, are apart by semicolons
country                 by its two letters; needed for a new one
postcode, region, gln   and who is asked there, by day and by night, when it
email, contact, …       takes deliveries, the language of its packing lists
active                  no: nothing is asked for and sent there any more
======================  ========================================================

A column that is not there leaves what is on record; a cell that is empty empties it, but
for those of name, street, city, country, language and active.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from kitting.domain import cells
from kitting.domain.delimited import Problem
from kitting.domain.errors import CodeError
from kitting.domain.sheets import Headings, RowReader, Sheet

TRANSLATED: Final[Mapping[str, tuple[str, ...]]] = {
    "en": (
        *("code", "name", "street", "postcode", "city", "region", "country"),
        *("contact", "night contact", "email", "opening", "gln", "points"),
        *("language", "active"),
    ),
    "de": (
        *("Kürzel", "Name", "Straße", "Postleitzahl", "Ort", "Region", "Land"),
        *("Ansprechpartner", "Ansprechpartner nachts", "E-Mail", "Annahmezeiten"),
        *("GLN", "Lieferstellen", "Sprache", "in Gebrauch"),
    ),
    "fr": (
        *("sigle", "nom", "rue", "code postal", "ville", "région", "pays"),
        *("contact", "contact de nuit", "courriel", "heures de livraison", "GLN"),
        *("points de livraison", "langue", "en service"),
    ),
}
HEADINGS: Final = Headings(TRANSLATED, needed=("code",))
FIELDS: Final = tuple(name.replace(" ", "_") for name in HEADINGS.names[1:])
"""What the columns but the first are called of a consignee."""
LINES: Final = ("street", "points")
"""Fields of several lines, which stand in one cell."""
_STAYS: Final = ("name", "street", "city", "country", "language", "active")
"""Columns in which an empty cell leaves what is on record."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: a consignee, and what is said of it."""

    line: int
    code: str
    """In capitals."""
    said: Mapping[str, str | bool]
    """By field, of ``FIELDS``; what is not said is not there."""


@dataclass(slots=True)
class Table:
    """What was read from a file."""

    rows: list[Row] = field(default_factory=list)
    """Rows without a fault, in the order of the file."""
    problems: list[Problem] = field(default_factory=list)
    words: dict[str, str] = field(default_factory=dict)
    """By heading the file's own word for it, where that is another one."""


def read(data: bytes | str) -> Table:
    """Read a file of consignees.

    Args:
        data: The file's content.

    Returns:
        Its rows and all of its problems.
    """
    sheet, found, seen = Sheet(), Table(), dict[str, int]()
    for row in sheet.rows(data, HEADINGS):
        code = row.text("code").upper()
        if first := seen.get(code):
            row.fault("code", code, "consignee_twice", {"first_line": first})
        elif code:
            seen[code] = row.line
        said = _said(row)
        if not row.bad:
            found.rows.append(Row(row.line, code, said))
    found.problems, found.words = sheet.problems, sheet.words
    return found


def _said(row: RowReader) -> dict[str, str | bool]:
    said: dict[str, str | bool] = {}
    for heading, name in zip(HEADINGS.names[1:], FIELDS, strict=True):
        if heading not in row.texts:
            continue
        text = row.take(heading, unmarked, "")
        if not text and name in _STAYS:
            continue
        if name == "active":
            said[name] = row.take(heading, _in_use, empty=True)
        elif name in LINES:
            said[name] = lines(text)
        else:
            said[name] = text.upper() if name == "country" else text
    return said


def lines(text: str) -> str:
    """Put what semicolons part on lines of its own.

    Args:
        text: A cell, or lines that are on record.

    Returns:
        The lines.

    >>> lines("Gate 2; back yard").splitlines()
    ['Gate 2', 'back yard']
    """
    parts = text.replace("\n", ";").split(";")
    return "\n".join(part.strip() for part in parts)


def as_on_record(
    said: Mapping[str, str | bool], on_record: Mapping[str, Any]
) -> dict[str, str | bool]:
    """Leave lines on record that a file has apart at a semicolon of their own.

    Args:
        said: What a row says, by field.
        on_record: What is on record, by field.

    Returns:
        What the row says, with such lines as they are on record.
    """
    same = [name for name in LINES if lines(on_record[name]) == said.get(name)]
    return {**said, **{name: on_record[name] for name in same}}


def unmarked(text: str) -> str:
    """Read a text that a file of ours may have marked as one, so that nothing runs it.

    Args:
        text: A tidied cell.

    Returns:
        It without the apostrophe before a sign such as a plus.

    >>> unmarked("'+351 000"), unmarked("'s Ward")
    ('+351 000', "'s Ward")
    """
    marked = text.startswith("'") and text[1:2] in "=+-@＝＋－＠"
    return text[1:] if marked and len(text) > 1 else text


def _in_use(text: str) -> bool:
    if text.casefold() in ("open", "closed"):  # of a lot that is the other way about
        raise CodeError("yes_no_unclear")
    return cells.yes_or_no(text)
