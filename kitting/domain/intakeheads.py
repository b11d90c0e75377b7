"""Headings of a file of lots, in English, German and French."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from typing import Final

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
        "Los",
        "Teil",
        "Stand",
        "Verfahren",
        "hergestellt am",
        "Herkunft",
        "Nummer der Herkunft",
        "verwendbar bis",
        "Beutel",
        "Stück je Beutel",
        "Zählungen",
        "gezählt",
        "Behälter",
        "Platz",
        "hergestellt aus",
        "Menge",
        "Verschnitt",
        "abschließen",
        "sicher",
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


def _bare(text: str) -> str:
    """A text without accents, which not every keyboard has."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(each for each in apart if not unicodedata.combining(each))


_KNOWN: Final = {
    _bare(word): heading
    for words in TRANSLATED.values()
    for heading, word in zip(HEADINGS, words, strict=True)
}


def known(word: str) -> str:
    """Give the heading that a word means.

    Args:
        word: A heading as ``delimited.heading`` gives it.

    Returns:
        One of ``HEADINGS``, or the word itself where it means none.

    >>> known("stück je beutel"), known("numero de provenance"), known("colour")
    ('pieces per bag', 'source number', 'colour')
    """
    return _KNOWN.get(_bare(word), word)


def is_known(word: str) -> bool:
    """Tell whether a word is a heading."""
    return known(word) in HEADINGS
