"""Label stock: what managers keep, and what keeping a printer has in common with it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TypeVar

from kitting.domain.errors import Conflict, Refused
from kitting.domain.stocks import StockFacts, need_code, need_dots, need_size
from kitting.ledger import locking
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bench, Place, Printer, Stock, Workshop
from kitting.printing.queries.stocks import Laid, laid_out, mark_of

R = TypeVar("R", Stock, Printer, Place, Bench)
N = TypeVar("N", Stock, Bench, Printer, Place)


@dataclass(frozen=True)
class Entered:
    """A stock or printer that stands in the set-up."""

    code: str


def keep_stock(
    *, facts: StockFacts, sign: Sign, was: str = "", seen: str = ""
) -> Entered:
    """Enter a stock, or change one; what was printed on it keeps its layout.

    Args:
        facts: The stock as it is to be.
        sign: Who, when and the operation key.
        was: Code of the stock that is changed; empty for a new one.
        seen: ``queries.stocks.mark_of`` the stock that was looked at before; empty
            to change it whatever it is by now.

    Returns:
        Its code.

    Raises:
        Conflict: ``code_taken``; ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such stock to change.
        NotFit: ``sheet_too_small`` if its labels leave the page, ``sheet_too_many``,
            ``sheet_has_no_labels``.
        Refused: ``code_malformed``, ``set_up_name_missing``, ``entry_too_long``,
            ``size_out_of_range``, ``gap_out_of_range``, ``head_out_of_range``,
            ``margin_too_wide``, ``page_too_fine``; ``stock_in_printer`` if it goes out
            of use and is in a printer.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Entered:
        row = row_to_keep(act, Stock, facts.code, was, seen)
        _fill(row, facts)
        if row.pk is not None:
            for printer in row.printers.filter(active=True):
                if not row.active:
                    raise Refused("stock_in_printer", printer=printer.code)
                need_dots(*page_um_of(row), printer.head_dots, printer.head_um)
        row.save()
        return Entered(row.code)

    return perform(
        "keep_stock", work, Entered, sign, was=was, seen=seen, **asdict(facts)
    )


def trial(facts: StockFacts) -> Laid:
    """Tell how a stock would be laid out; nothing is written.

    Args:
        facts: The stock as it is to be.

    Returns:
        The paper.

    Raises:
        NotFit: As in ``keep_stock``.
        Refused: As in ``keep_stock``.
    """
    return _fill(Stock(), facts)


def row_to_keep(act: Act, model: type[R], code: str, was: str, seen: str) -> R:
    """The row to change under its lock, or a new one."""
    # One set-up at a time: a code is free, and a stock in use, until the act is done.
    locking.lock_row(Workshop, act.workshop.pk)
    taken = model.objects.filter(code__iexact=code).exclude(code=was)
    if was != code and taken.exists():
        raise Conflict("code_taken", read=code)
    if not was:
        return model()
    found = locking.lock_row(model, named(model, was).pk)
    if seen and seen != mark_of(found):
        raise Conflict("page_is_old")
    return found


def _fill(row: Stock, facts: StockFacts) -> Laid:
    need_code(facts.code, facts.name)
    need_size(facts)
    for name, value in asdict(facts).items():
        setattr(row, name, value)
    row.name = facts.name.strip()
    return laid_out(row)


def page_um_of(stock: Stock) -> tuple[int, int]:
    """Width and height of the page that a printer is given, in µm."""
    return laid_out(stock).page_um


def named(model: type[N], code: str) -> N:
    """The row that has a code."""
    return need_row(model.objects.filter(code=code))
