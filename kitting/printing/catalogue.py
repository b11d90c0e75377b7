"""The catalogue's label stock."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from kitting.domain.errors import LotwardError
from kitting.labels.spoken import ENGLISH
from kitting.ledger import listing
from kitting.ledger.sections import Found, register
from kitting.models import LabelWord, Stock
from kitting.printing.queries.stocks import facts_of
from kitting.printing.services.stocks import trial

_BLANK: Final = re.compile(r"\{\w*\}|[{}]")
"""Where a figure or a number is filled in."""


def _stock(found: Found, path: str, row: Mapping[str, Any]) -> None:
    """Label stock, by the rules by which a manager enters it."""
    shelf = found.shelf
    before = len(shelf.problems)
    given = shelf.read(Stock, path, row)
    if len(shelf.problems) > before:
        return
    stock = Stock(**given)
    try:
        trial(facts_of(stock))
    except LotwardError as error:
        shelf.fault(path, stock.code, error.code, **error.params)
        return
    shelf.place(path, stock, ("code",), given)


def _word(found: Found, path: str, row: Mapping[str, Any]) -> None:
    """A word that labels say, in a language of the workshop's own."""
    shelf = found.shelf
    given = shelf.read(LabelWord, path, row)
    word = LabelWord(**given)
    blanks = sorted(set(_BLANK.findall(ENGLISH.get(word.word, ""))))
    if sorted(set(_BLANK.findall(word.text))) != blanks:
        wanted = " ".join(blanks) or "nothing"
        shelf.fault(f"{path}.text", word.text, "label_word_blanks", wanted=wanted)
    shelf.place(path, word, ("language", "word"), given)


register(stocks=_stock, label_words=_word)
listing.register(
    stocks=lambda: listing.as_rows(Stock.objects.order_by("pk")),
    label_words=lambda: listing.as_rows(LabelWord.objects.order_by("pk")),
)
