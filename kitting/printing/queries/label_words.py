"""Words on labels in the language of a product."""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import NotFit
from kitting.labels.spoken import CAUTIONS, COMPLETE, ENGLISH
from kitting.models import LabelWord, Product, Protocol

LANGUAGES: Final[list[tuple[str, Any]]] = [
    ("en", _("English")),
    ("de", _("German")),
    ("fr", _("French")),
    ("es", _("Spanish")),
    ("it", _("Italian")),
    ("nl", _("Dutch")),
    ("pl", _("Polish")),
    ("pt", _("Portuguese")),
    ("cs", _("Czech")),
    ("da", _("Danish")),
    ("el", _("Greek")),
    ("sv", _("Swedish")),
]
LANGUAGE: Final = re.compile("(?!en)[a-z]{2}(-[A-Z]{2})?")
"""A language that may have words of its own, such as ``el`` or ``el-CY``."""

WORD_LONGEST: Final = 80
"""Characters that a word and the name of its reviewer may have."""

_BLANK: Final = re.compile(r"\{\w*\}|[{}]")
"""Where a figure or a number is filled in."""


def words_in(language: str, *, demo: bool, also: Iterable[str] = ()) -> dict[str, str]:
    """Give every word that labels say, in a language.

    Args:
        language: As the product has it, such as ``de`` or ``de-AT``.
        demo: Whether it is a demo's label: then nobody needs to have reviewed a caution.
        also: Words of protocols, written in English, that are wanted as well.

    Returns:
        By what each is called; those of protocols by themselves.

    Raises:
        NotFit: ``label_word_missing``; ``label_word_unreviewed`` for a caution.
    """
    base = language.partition("-")[0].lower()
    wanted = {*ENGLISH, *also}
    if base == "en":
        return {word: ENGLISH.get(word, word) for word in wanted}
    known = dict(COMPLETE.get(base, {}))
    if not wanted <= known.keys():
        rows = LabelWord.objects.filter(language__in={language, base})
        for row in rows.order_by("-language"):  # That of a region first.
            if row.word in known:
                continue
            if row.word in CAUTIONS and not (row.reviewed_by or demo):
                what = {"language": language, "word": ENGLISH[row.word]}
                raise NotFit("label_word_unreviewed", **what)
            known[row.word] = row.text
    for word in sorted(wanted - known.keys()):
        said = ENGLISH.get(word, word)
        raise NotFit("label_word_missing", language=language, word=said)
    return known


@dataclass(frozen=True)
class Word:
    """A word that labels say, in a language that the workshop fills in."""

    name: str
    """As labels name it, or the words of a protocol."""
    english: str
    text: str
    """In the language; empty while it is missing."""
    reviewed_by: str
    caution: bool
    """Whether it is printed only once somebody looked at it."""
    instead: str = ""
    """What is said while it is empty: a region says what its language does."""


@dataclass(frozen=True)
class Language:
    """A language, and how far its words are."""

    code: str
    said: str
    """What it is called."""
    words: int
    """Those that the workshop filled in."""
    missing: int
    unreviewed: int
    """Of those filled in, cautions that nobody is named for."""
    reviewers: tuple[str, ...]
    products: int
    """Products whose labels speak it."""

    @property
    def own(self) -> bool:
        """Whether it has a word that the workshop fills in."""
        return bool(self.words or self.missing)


def own_words(language: str) -> list[Word]:
    """Give every word of a language that the workshop fills in.

    Args:
        language: Such as ``el``.

    Returns:
        Those of every label, then those of protocols.
    """
    base, _region, region = language.partition("-")
    every = LabelWord.objects.filter(language__in={language, base})
    rows = {row.word: row for row in every if row.language == language}
    instead = {row.word: row.text for row in every if region and row.language == base}
    found = []
    for name in _wanted(language, _of_protocols()):
        row = rows.get(name)
        found.append(
            Word(
                name,
                ENGLISH.get(name, name),
                row.text if row else "",
                row.reviewed_by if row else "",
                name in CAUTIONS,
                instead.get(name, ""),
            )
        )
    return found


def _wanted(language: str, of_protocols: Iterable[str]) -> list[str]:
    base = language.partition("-")[0]
    ours = COMPLETE.get(base, {})
    names = [*ENGLISH, *of_protocols] if base != "en" else []
    return [name for name in dict.fromkeys(names) if name not in ours]


def _of_protocols() -> list[str]:
    """The words of every protocol, in English."""
    said = Protocol.objects.exclude(label_words="").order_by("label_words")
    return list(said.values_list("label_words", flat=True).distinct())


def languages() -> list[Language]:
    """Every language that a product speaks or that has words, by its code."""
    names, of_protocols = dict(LANGUAGES), _of_protocols()
    products = Counter(Product.objects.values_list("language", flat=True))
    rows: dict[str, list[LabelWord]] = {code: [] for code in products}
    for row in LabelWord.objects.order_by("pk"):
        rows.setdefault(row.language, []).append(row)
    found = []
    for code, own in sorted(rows.items()):
        base = code.partition("-")[0]
        there = {row.word for row in own} | {row.word for row in rows.get(base, ())}
        wanted = _wanted(code, of_protocols)
        nobody = [row for row in own if row.word in CAUTIONS and not row.reviewed_by]
        found.append(
            Language(
                code,
                str(names.get(base, base)),
                words=len(own),
                missing=sum(word not in there for word in wanted),
                unreviewed=len(nobody),
                reviewers=tuple(sorted({r.reviewed_by for r in own} - {""})),
                products=products[code],
            )
        )
    return found


def mark_of_words(words: Iterable[Word]) -> str:
    """What a form remembers of words, so that a change of somebody else is noticed."""
    said = json.dumps([[word.name, word.text, word.reviewed_by] for word in words])
    return hashlib.sha256(said.encode()).hexdigest()


def blanks_wanted(word: str, text: str) -> str:
    """Say what must be filled in in a word, where that is not what it has.

    Args:
        word: As labels name it.
        text: In the language.

    Returns:
        The blanks of the English word, or "nothing"; empty where all is right.
    """
    wanted = sorted(set(_BLANK.findall(ENGLISH.get(word, ""))))
    if sorted(set(_BLANK.findall(text))) == wanted:
        return ""
    return " ".join(wanted) or "nothing"


def spoken(kind: type[Any], words: Mapping[str, str]) -> Any:
    """Give the words of one kind of label.

    Args:
        kind: Its words, as a dataclass.
        words: As ``words_in`` gives them.

    Returns:
        An instance of it.
    """
    return kind(**{field.name: words[field.name] for field in fields(kind)})
