"""Words that labels say, in a language that the workshop fills in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kitting.domain.errors import Conflict, Missing, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_length
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import LabelWord, Workshop
from kitting.printing.queries.label_words import (
    LANGUAGE,
    WORD_LONGEST,
    blanks_wanted,
    mark_of_words,
    own_words,
)


@dataclass(frozen=True)
class KeptWords:
    """Words as they stand from now on."""

    language: str
    changed: list[str]
    """Those that are other, by the names that labels have for them."""


def keep_words(
    *,
    language: str,
    words: Mapping[str, str],
    reviewed_by: str,
    sign: Sign,
    seen: str = "",
) -> KeptWords:
    """Fill in words of a language; one that is left empty is taken out.

    A word that changes has nobody who looked at it, unless somebody is named now. Each
    label of each product in the language is tried with them at the end of the act.

    Args:
        language: Such as ``el`` or ``el-CY``.
        words: In the language, by the names that labels have for them.
        reviewed_by: Who speaks the language and looked at all of these; empty to leave
            the others as they were.
        sign: Who, when and the operation key.
        seen: ``mark_of_words`` of those that were looked at before; empty to change
            them whatever they are by now.

    Returns:
        Those that changed.

    Raises:
        Conflict: ``page_is_old`` if somebody changed them meanwhile.
        Missing: ``row_missing`` for a word that no label says.
        NotFit: ``label_would_not_fit``, ``label_word_missing``,
            ``label_word_unreviewed`` where a product speaks the language.
        Refused: ``label_language_unknown``, ``label_word_blanks``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptWords:
        if not LANGUAGE.fullmatch(language):
            raise Refused("label_language_unknown", read=language)
        locking.lock_row(Workshop, act.workshop.pk)
        known = own_words(language)
        if seen and seen != mark_of_words(known):
            raise Conflict("page_is_old")
        if not words.keys() <= {word.name for word in known}:
            raise Missing("row_missing", what="word")
        by = need_length("reviewer", reviewed_by, WORD_LONGEST)
        changed = []
        for word in known:
            text = words.get(word.name, word.text)
            text = need_length("word", " ".join(text.split()), WORD_LONGEST)
            reviewer = by or (word.reviewed_by if text == word.text else "")
            if (text, reviewer) == (word.text, word.reviewed_by) or not (
                text or word.text
            ):
                continue
            _write(language, word.name, text, reviewer)
            changed.append(word.name)
        return KeptWords(language, changed)

    return perform(
        "keep_words",
        work,
        KeptWords,
        sign,
        language=language,
        words=dict(words),
        reviewed_by=reviewed_by,
        seen=seen,
    )


def _write(language: str, word: str, text: str, reviewed_by: str) -> None:
    row = LabelWord.objects.filter(language=language, word=word).first()
    if not text:
        assert row is not None  # noqa: S101 -- it had a text
        row.delete()
        return
    if wanted := blanks_wanted(word, text):
        raise Refused("label_word_blanks", wanted=wanted)
    row = row or LabelWord(language=language, word=word)
    row.text, row.reviewed_by = text, reviewed_by
    row.save()
