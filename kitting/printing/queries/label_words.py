"""Words on paper in the language of whom it is for."""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Final

from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import NotFit
from kitting.labels.spoken import CAUTIONS, COMPLETE
from kitting.models import (
    Cover,
    LabelWord,
    Product,
    Protocol,
    ProtocolLoad,
    RecipeLine,
    RecipeSubstitute,
)

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

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
    ("ar", _("Arabic")),
    ("he", _("Hebrew")),
]
LANGUAGE: Final = re.compile("(?!en)[a-z]{2}(-[A-Z]{2})?")
"""A language that may have words of its own, such as ``el`` or ``el-CY``."""

WORD_LONGEST: Final = 80
"""Characters that a word and the name of its reviewer may have."""

_BLANK: Final = re.compile(r"\{\w*\}|[{}]")
"""Where a figure or a number is filled in."""


@dataclass(frozen=True)
class Speaker:
    """Rows in whose language something is written on paper."""

    model: type[Model]
    """Their table; it has a column ``language``."""
    called: _StrPromise
    """What several of them are called."""
    words: Mapping[str, Mapping[str, str]]
    """What is written, by language: those that are complete, English first."""

    @property
    def english(self) -> Mapping[str, str]:
        """Each word in English, by what it is called."""
        return self.words["en"]


LABELS: Final = Speaker(Product, _("Products"), COMPLETE)
"""Boxes and their slips, with the words of protocols besides."""

SPEAKERS: Final = [LABELS]
"""Whatever is written in a language of its own; rooms add to it as they are loaded."""


def english() -> dict[str, str]:
    """Every word in English; those of protocols are so themselves."""
    return {word: said for one in SPEAKERS for word, said in one.english.items()}


def words_in(
    language: str, *, demo: bool, also: Iterable[str] = (), of: Speaker = LABELS
) -> dict[str, str]:
    """Give every word that is written on some paper, in a language.

    Args:
        language: As the product or consignee has it, such as ``de`` or ``de-AT``.
        demo: Whether it is a demo's: then nobody needs to have reviewed a caution.
        also: Words of protocols, written in English, that are wanted as well.
        of: On which paper.

    Returns:
        By what each is called; those of protocols by themselves.

    Raises:
        NotFit: ``label_word_missing``; ``label_word_unreviewed`` for a caution.
    """
    base = language.partition("-")[0].lower()
    wanted = {*of.english, *also}
    if base == "en":
        return {word: of.english.get(word, word) for word in wanted}
    known = dict(of.words.get(base, {}))
    if not wanted <= known.keys():
        rows = LabelWord.objects.filter(language__in={language, base})
        for row in rows.order_by("-language"):  # That of a region first.
            if row.word in known or row.word not in wanted:
                continue
            if row.word in CAUTIONS and not (row.reviewed_by or demo):
                what = {"language": language, "word": of.english[row.word]}
                raise NotFit("label_word_unreviewed", **what)
            known[row.word] = row.text
    for word in sorted(wanted - known.keys()):
        said = of.english.get(word, word)
        raise NotFit("label_word_missing", language=language, word=said)
    return known


@dataclass(frozen=True)
class Word:
    """A word on paper, in a language that the workshop fills in."""

    name: str
    """As the paper names it, or the words of a protocol."""
    english: str
    text: str
    """In the language; empty while it is missing."""
    reviewed_by: str
    caution: bool
    """Whether it is printed only once somebody looked at it."""
    instead: str = ""
    """What is said while it is empty: a region says what its language does."""
    needed: bool = True
    """Whether something that speaks the language says it."""

    @property
    def missing(self) -> bool:
        """Whether it is to be filled in."""
        return self.needed and not (self.text or self.instead)


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
    speakers: tuple[int, ...]
    """How many rows of each of ``SPEAKERS`` speak it."""

    @property
    def own(self) -> bool:
        """Whether it has a word that the workshop fills in."""
        return bool(self.words or self.missing)


def own_words(language: str) -> list[Word]:
    """Give every word of a language that the workshop fills in.

    Args:
        language: Such as ``el``.

    Returns:
        Those of every paper, then those of protocols.
    """
    base, _region, region = language.partition("-")
    every = LabelWord.objects.filter(language__in={language, base})
    rows = {row.word: row for row in every if row.language == language}
    instead = {row.word: row.text for row in every if region and row.language == base}
    needed, in_english = set(_Needed().of(language)), english()
    said = Protocol.objects.exclude(label_words="").order_by("label_words")
    of_protocols = said.values_list("label_words", flat=True).distinct()
    found = []
    for name in _open(language, SPEAKERS, of_protocols):
        row = rows.get(name)
        found.append(
            Word(
                name,
                in_english.get(name, name),
                row.text if row else "",
                row.reviewed_by if row else "",
                name in CAUTIONS,
                instead.get(name, ""),
                name in needed,
            )
        )
    return found


def _open(
    language: str, speakers: Iterable[Speaker], of_protocols: Iterable[str]
) -> list[str]:
    """Words of some papers that the workshop fills in itself."""
    base = language.partition("-")[0]
    if base == "en":
        return []
    names = [name for one in speakers for name in one.english]
    ours = {name for one in SPEAKERS for name in one.words.get(base, {})}
    return [name for name in dict.fromkeys([*names, *of_protocols]) if name not in ours]


class _Needed:
    """What is said in each language, by what there is now."""

    def __init__(self) -> None:
        self.counts = [
            Counter(one.model._default_manager.values_list("language", flat=True))
            for one in SPEAKERS
        ]
        said_of, _latex = said_of_products()
        self.of_protocols: dict[str, set[str]] = {}
        for pk, language in Product.objects.values_list("pk", "language"):
            said = self.of_protocols.setdefault(language, set())
            said |= said_of.get(pk, set())

    def speakers(self, language: str) -> tuple[int, ...]:
        """How many rows of each of ``SPEAKERS`` speak it."""
        return tuple(count[language] for count in self.counts)

    def of(self, language: str) -> list[str]:
        """Words without which something could not be written; all where nobody speaks."""
        rows = zip(SPEAKERS, self.speakers(language), strict=True)
        speakers = [one for one, count in rows if count] or SPEAKERS
        return _open(language, speakers, sorted(self.of_protocols.get(language, ())))


def said_of_products() -> tuple[dict[int, set[str]], set[int]]:
    """Give what may be said of disinfection on boxes, and the products with latex.

    Returns:
        The words of protocols by product, and ids of products.
    """
    words: dict[int, set[str]] = {}
    # A cover withdrawn or not: what it cleared may be packed still.
    for by in (ProtocolLoad.objects.all(), Cover.objects.all()):
        said = by.exclude(protocol__label_words="")
        for revision, one in said.values_list("revision", "protocol__label_words"):
            words.setdefault(revision, set()).add(one)
    packed = ("revision", "revision__part__latex")
    lines = RecipeLine.objects.values_list("recipe__product", *packed)
    instead = RecipeSubstitute.objects.values_list("line__recipe__product", *packed)
    said_of: dict[int, set[str]] = {}
    latex = set()
    for product, revision, has_latex in (*lines, *instead):
        said_of.setdefault(product, set()).update(words.get(revision, ()))
        if has_latex:
            latex.add(product)
    return said_of, latex


def languages() -> list[Language]:
    """Every language that something speaks or that has words, by its code."""
    needed = _Needed()
    rows: dict[str, list[LabelWord]] = {
        code: [] for count in needed.counts for code in count
    }
    for row in LabelWord.objects.order_by("pk"):
        rows.setdefault(row.language, []).append(row)
    found = []
    for code, own in sorted(rows.items()):
        base = code.partition("-")[0]
        there = {row.word for row in own} | {row.word for row in rows.get(base, ())}
        nobody = [row for row in own if row.word in CAUTIONS and not row.reviewed_by]
        found.append(
            Language(
                code,
                called(code),
                words=len(own),
                missing=sum(word not in there for word in needed.of(code)),
                unreviewed=len(nobody),
                reviewers=tuple(sorted({r.reviewed_by for r in own} - {""})),
                speakers=needed.speakers(code),
            )
        )
    return found


def called(language: str) -> str:
    """Say what a language is called, without its region."""
    base = language.partition("-")[0]
    return str(dict(LANGUAGES).get(base, base))


def to_choose() -> list[tuple[str, Any]]:
    """Give every language that a product or consignee may be given.

    Returns:
        Those that have a name, and others that have words or are spoken, such as those
        of regions.
    """
    tables: list[type[Model]] = [LabelWord, *(one.model for one in SPEAKERS)]
    spoken = {
        code
        for table in tables
        for code in table._default_manager.values_list("language", flat=True).distinct()
    }
    others = sorted(spoken - dict(LANGUAGES).keys())
    return [*LANGUAGES, *((code, f"{called(code)} ({code})") for code in others)]


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
    wanted = sorted(set(_BLANK.findall(english().get(word, ""))))
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
