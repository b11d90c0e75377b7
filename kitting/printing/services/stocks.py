"""Label stock and printers: what managers keep."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Final, TypeVar

from kitting.domain.errors import Conflict, Refused
from kitting.domain.stocks import (
    PrinterFacts,
    StockFacts,
    need_code,
    need_dots,
    need_head,
    need_size,
)
from kitting.ipp.address import read_address
from kitting.ledger import locking
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bench, Printer, Stock, Workshop
from kitting.printing.queries.printers import mark_of
from kitting.printing.queries.stocks import Laid, laid_out

ADDRESS_LONGEST: Final = 255

R = TypeVar("R", Stock, Printer)
N = TypeVar("N", Stock, Bench, Printer)


@dataclass(frozen=True)
class Kept:
    """A stock or printer that stands in the set-up."""

    code: str


def keep_stock(*, facts: StockFacts, sign: Sign, was: str = "", seen: str = "") -> Kept:
    """Enter a stock, or change one; what was printed on it keeps its layout.

    Args:
        facts: The stock as it is to be.
        sign: Who, when and the operation key.
        was: Code of the stock that is changed; empty for a new one.
        seen: ``queries.printers.mark_of`` the stock that was looked at before; empty
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

    def work(act: Act) -> Kept:
        row = _row(act, Stock, facts.code, was, seen)
        _fill(row, facts)
        if row.pk is not None:
            for printer in row.printers.filter(active=True):
                if not row.active:
                    raise Refused("stock_in_printer", printer=printer.code)
                need_dots(*_page(row), printer.head_dots, printer.head_um)
        row.save()
        return Kept(row.code)

    return perform("keep_stock", work, Kept, sign, was=was, seen=seen, **asdict(facts))


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


def keep_printer(
    *, facts: PrinterFacts, sign: Sign, was: str = "", seen: str = ""
) -> Kept:
    """Enter a printer, or change one.

    Jobs that wait go to its new address. What was sent to another one is given up by the
    worker: somebody has to look what came out there.

    Args:
        facts: The printer as it is to be.
        sign: Who, when and the operation key.
        was: Code of the printer that is changed; empty for a new one.
        seen: ``queries.printers.mark_of`` the printer that was looked at before; empty
            to change it whatever it is by now.

    Returns:
        Its code.

    Raises:
        Conflict: ``code_taken``; ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such printer, stock or bench.
        Refused: ``printer_address_wrong``, ``printer_address_not_allowed``,
            ``code_malformed``, ``set_up_name_missing``, ``entry_too_long``,
            ``head_out_of_range``, ``page_too_fine``; ``stock_out_of_use``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Kept:
        need_code(facts.code, facts.name)
        need_head(facts.head_dots, facts.head_um)
        row = _row(act, Printer, facts.code, was, seen)
        row.code, row.name = facts.code, facts.name.strip()
        row.address = _address(facts.address)
        row.stock = _named(Stock, facts.stock)
        if facts.active and not row.stock.active:
            raise Refused("stock_out_of_use", stock=row.stock.code)
        need_dots(*_page(row.stock), facts.head_dots, facts.head_um)
        row.head_dots, row.head_um = facts.head_dots, facts.head_um
        row.bench = _named(Bench, facts.bench) if facts.bench else None
        row.active = facts.active
        row.asleep_until = None
        row.save()
        return Kept(row.code)

    return perform(
        "keep_printer", work, Kept, sign, was=was, seen=seen, **asdict(facts)
    )


def _row(act: Act, model: type[R], code: str, was: str, seen: str) -> R:
    """The row to change under its lock, or a new one."""
    # One set-up at a time: a code is free, and a stock in use, until the act is done.
    locking.lock_row(Workshop, act.workshop.pk)
    if was != code and model.objects.filter(code=code).exists():
        raise Conflict("code_taken", read=code)
    if not was:
        return model()
    found = locking.lock_row(model, _named(model, was).pk)
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


def _page(stock: Stock) -> tuple[int, int]:
    """Width and height of the page that a printer is given, in µm."""
    return laid_out(stock).page_um


def _address(text: str) -> str:
    address = read_address(text).text
    if len(address) > ADDRESS_LONGEST:
        why = f"it is longer than {ADDRESS_LONGEST} characters"
        raise Refused("printer_address_wrong", read=address, why=why)
    return address


def _named(model: type[N], code: str) -> N:
    return need_row(model.objects.filter(code=code))
