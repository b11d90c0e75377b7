"""Headings of a file of lots, in English, German and French."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from kitting.domain.sheets import Headings

HEADINGS: Final = (
    "lot",
    "part",
    "revision",
    "method",
    "made on",
    "source",
    "source number",
    "use by",
    "bags",
    "pieces per bag",
    "counts",
    "counted by",
    "container",
    "place",
    "made from",
    "amount",
    "waste",
    "close",
    "sure",
)
NEEDED: Final = ("part", "revision", "made on")

TRANSLATED: Final[Mapping[str, tuple[str, ...]]] = {
    "en": HEADINGS,
    "de": (
        "Charge",
        "Teil",
        "Revision",
        "Verfahren",
        "hergestellt am",
        "Herkunft",
        "Nummer der Herkunft",
        "verwendbar bis",
        "Beutel",
        "Stück je Beutel",
        "Zählungen",
        "gezählt mit",
        "Behälter",
        "Lagerplatz",
        "hergestellt aus",
        "Menge",
        "Verschnitt",
        "abschließen",
        "Begründung",
    ),
    "fr": (
        "lot",
        "pièce",
        "révision",
        "méthode",
        "fabriqué le",
        "provenance",
        "numéro de provenance",
        "à utiliser avant",
        "sacs",
        "pièces par sac",
        "comptages",
        "compté",
        "contenant",
        "emplacement",
        "fabriqué à partir de",
        "quantité",
        "chutes",
        "clore",
        "sûr",
    ),
}
"""The headings of a language in the order of ``HEADINGS``."""


LOTS: Final = Headings(TRANSLATED, NEEDED)
