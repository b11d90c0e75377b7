"""A file of requests as it comes out of a spreadsheet.

======================  ========================================================
consignee               needed: its code or its GLN
product                 needed: its code
sets                    needed
tier                    how much they are needed: 1 none left, 2 they run out
                        within three days, 3 for the stock; 3 where it is empty
needed by               see ``cells.day``
way                     how they were asked for: telephone, mail, letter, visit,
                        file; "file" where it is empty
caller, ward,           who asked, where they are needed, the consignee's own
reference, note         number, and what else is to be known
request                 the number of one that is on record: it is refused, for
                        it was taken down already
======================  ========================================================
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from dispatch.domain.consigneefile import unmarked
from dispatch.domain.needs import Asked, Tier, Way
from kitting.domain import cells
from kitting.domain.delimited import Problem
from kitting.domain.errors import CodeError
from kitting.domain.sheets import Headings, RowReader, Sheet

TRANSLATED: Final[Mapping[str, tuple[str, ...]]] = {
    "en": (
        *("request", "consignee", "product", "sets", "tier", "needed by", "way"),
        *("caller", "ward", "reference", "note"),
    ),
    "de": (
        *("Anforderung", "Empfänger", "Produkt", "Sets", "Stufe", "gebraucht bis"),
        *("Meldeweg", "angefragt von", "Station", "Referenz", "Bemerkung"),
    ),
    "fr": (
        *("demande", "destinataire", "produit", "kits", "niveau", "nécessaire avant"),
        *("voie", "demandeur", "service", "référence", "remarque"),
    ),
}
TOLD: Final = ("name", "asked on", "sent", "loaded", "left", "stage")
"""Columns that our own files have as well."""
HEADINGS: Final = Headings(TRANSLATED, ("consignee", "product", "sets"), TOLD)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: who asks for what."""

    line: int
    consignee: str
    """A code in capitals, or a GLN."""
    product: str
    asked: Asked


@dataclass(slots=True)
class Table:
    """What was read from a file."""

    rows: list[Row] = field(default_factory=list)
    """Rows without a fault, in the order of the file."""
    problems: list[Problem] = field(default_factory=list)
    repeats: list[Problem] = field(default_factory=list)
    """Rows that repeat another one exactly, which may be right."""
    words: dict[str, str] = field(default_factory=dict)
    """By heading the file's own word for it, where that is another one."""


def read(data: bytes | str, *, date_order: cells.DateOrder | None = None) -> Table:
    """Read a file of requests.

    Args:
        data: The file's content.
        date_order: Which comes first in 01/03/2026; None refuses unclear ones.

    Returns:
        Its rows and all of its problems.
    """
    sheet, found = Sheet(), Table()
    first: dict[tuple[str, str, Asked], int] = {}
    for row in sheet.rows(data, HEADINGS):
        if row.has("request"):
            row.fault("request", row.texts["request"], "request_on_record")
        whom, product = row.text("consignee").upper(), row.text("product").upper()
        asked = _asked(row, date_order)
        if row.bad:
            continue
        found.rows.append(Row(row.line, whom, product, asked))
        line = first.setdefault((whom, product, asked), row.line)
        if line != row.line:
            found.repeats.append(
                Problem(row.line, "", "", "request_repeated", {"first_line": line})
            )
    found.problems, found.words = sheet.problems, sheet.words
    return found


def _asked(row: RowReader, date_order: cells.DateOrder | None) -> Asked:
    return Asked(
        sets=row.take("sets", cells.whole, 0),
        tier=row.take("tier", _tier, int(Tier.STOCK)) or int(Tier.STOCK),
        way=row.take("way", _way, str(Way.FILE)) or str(Way.FILE),
        needed_by=row.take("needed by", lambda text: cells.day(text, date_order), None),
        caller=row.take("caller", unmarked, ""),
        reference=row.take("reference", unmarked, ""),
        note=row.take("note", unmarked, ""),
        point=row.take("ward", unmarked, ""),
    )


def _tier(text: str) -> int:
    if text not in {str(int(each)) for each in Tier}:
        raise CodeError("request_tier", read=text)
    return int(text)


def _way(text: str) -> str:
    if text.casefold() not in {*Way}:
        raise CodeError("request_way", read=text, ways=", ".join(Way))
    return text.casefold()
