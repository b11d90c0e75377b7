"""The catalogue's label stock."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.domain.errors import LotwardError
from kitting.ledger import listing
from kitting.ledger.sections import Found, register
from kitting.models import LabelWord, Stock
from kitting.printing.queries.label_words import blanks_wanted
from kitting.printing.queries.stocks import facts_of
from kitting.printing.services.stocks import trial


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
    if wanted := blanks_wanted(word.word, word.text):
        shelf.fault(f"{path}.text", word.text, "label_word_blanks", wanted=wanted)
    shelf.place(path, word, ("language", "word"), given)


register(stocks=_stock, label_words=_word)
listing.register(
    stocks=lambda: listing.as_rows(Stock.objects.order_by("pk")),
    label_words=lambda: listing.as_rows(LabelWord.objects.order_by("pk")),
)
