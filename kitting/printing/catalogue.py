"""The catalogue's label stock, printers and words on labels."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.domain.errors import LotwardError
from kitting.domain.stocks import PrinterFacts
from kitting.ledger import listing
from kitting.ledger.sections import Found, register
from kitting.ledger.shelf import obey
from kitting.models import Bench, LabelWord, Printer, Stock
from kitting.printing.queries.label_words import blanks_wanted
from kitting.printing.queries.stocks import facts_of
from kitting.printing.services.printers import fill_printer
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


def read_printer(found: Found, path: str, row: Mapping[str, Any]) -> None:
    """Read a printer, by the rules by which a manager enters it.

    Args:
        found: What is known so far; its stock and bench are read already.
        path: Path of the row.
        row: The row.
    """
    shelf = found.shelf
    before = len(shelf.problems)
    given = shelf.read(Printer, path, row, "stock", "bench")
    stock = shelf.one_of(path, row, "stock", _by_code(Stock))
    bench = (
        shelf.one_of(path, row, "bench", _by_code(Bench)) if "bench" in row else None
    )
    if stock is None or len(shelf.problems) > before:
        return
    printer = Printer(**given)
    facts = PrinterFacts(
        code=printer.code,
        name=printer.name,
        address=printer.address,
        stock=stock.code,
        head_dots=printer.head_dots,
        head_um=printer.head_um,
        bench=bench.code if bench else "",
        active=printer.active,
    )
    obey(shelf, path, lambda: fill_printer(printer, facts))
    if len(shelf.problems) == before:
        shelf.place(path, printer, ("code",), given | {"stock": stock, "bench": bench})


def _by_code(table: type[Stock] | type[Bench]) -> dict[str, Any]:
    return {row.code: row for row in table._default_manager.all()}


def printers() -> list[listing.Row]:
    """Write the printers as a catalogue has them."""
    rows = Printer.objects.select_related("stock", "bench").order_by("pk")
    return [
        listing.as_row(
            row, stock=row.stock.code, bench=row.bench.code if row.bench else None
        )
        for row in rows
    ]


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
