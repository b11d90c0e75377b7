"""The sentences for the codes of refusals: what was read, what is wrong, what to do.

``kitting.domain.errors`` carries codes and values; people read these. Every placeholder
is named and is a value that the error carries. Each room registers the sentences of its
own codes from its ``words``; those of the ground stand in ``kitting/web/words.py``.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress

from django.utils.functional import Promise
from django.utils.translation import gettext

from kitting.domain.errors import LotwardError
from kitting.domain.shown import is_legible
from kitting.web import words

LONGEST_VALUE = 60

ALL: dict[str, str | Promise] = dict(words.SENTENCES)


def register(sentences: Mapping[str, str | Promise]) -> None:
    """Add the sentences of a room; once, when it is loaded."""
    twice = ALL.keys() & sentences.keys()
    if twice:
        msg = f"Codes with two sentences: {sorted(twice)}."
        raise ValueError(msg)
    ALL.update(sentences)


def sentence(error: LotwardError) -> str:
    """Say a refusal in a sentence; one without a sentence still names its code."""
    known = ALL.get(error.code)
    if known is not None:
        with suppress(KeyError):  # A value that the sentence names was not given.
            return str(known) % {n: _shown(value) for n, value in error.params.items()}
    return gettext(
        "This was refused, and nothing was written (%(code)s). Check what was entered"
        " and try again; if it is refused again, pass the code on."
    ) % {"code": error.code}


def _shown(value: object) -> str:
    """Write a value so that a scan of any length and content can stand in a sentence.

    A refusal that another one names stands there in its own sentence.
    """
    if isinstance(value, LotwardError):
        return sentence(value)
    text = str(value)
    clean = "".join(char if is_legible(char) else "�" for char in text)
    return clean if len(clean) <= LONGEST_VALUE else f"{clean[:LONGEST_VALUE]}…"
