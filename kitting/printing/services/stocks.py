"""Label stock as managers set it up."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from kitting.domain.errors import Refused
from kitting.domain.stocks import StockFacts, need_dots, need_size
from kitting.ledger.coded import fill, need_code, row_to_keep
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Stock
from kitting.printing.queries.stocks import Laid, laid_out


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


def _fill(row: Stock, facts: StockFacts) -> Laid:
    need_code(facts.code)
    need_size(facts)
    fill(row, facts)
    return laid_out(row)


def page_um_of(stock: Stock) -> tuple[int, int]:
    """Width and height of the page that a printer is given, in µm."""
    return laid_out(stock).page_um
