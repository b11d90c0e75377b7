"""Words on labels in the language of a product."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any

from kitting.domain.errors import NotFit
from kitting.labels.spoken import CAUTIONS, COMPLETE, ENGLISH
from kitting.models import LabelWord


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


def spoken(kind: type[Any], words: Mapping[str, str]) -> Any:
    """Give the words of one kind of label.

    Args:
        kind: Its words, as a dataclass.
        words: As ``words_in`` gives them.

    Returns:
        An instance of it.
    """
    return kind(**{field.name: words[field.name] for field in fields(kind)})
