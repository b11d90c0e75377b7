"""Label stock and printers: what managers keep."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Final, TypeVar

from kitting import locking
from kitting.domain.errors import Conflict, Missing, Refused
from kitting.ipp.address import read_address
from kitting.models import Bench, Printer, Stock
from kitting.operations import Act, Sign, perform
from kitting.queries.stocks import laid_out

LARGEST_UM: Final = 500_000
"""Half a metre: no label, and no page that a workshop prints on, is larger."""

FINEST: Final = 48
"""Dots per mm: twice as fine as any label printer's head."""

CODE_LONGEST: Final = 20


R = TypeVar("R", Stock, Printer)
N = TypeVar("N", Stock, Bench, Printer)


@dataclass(frozen=True)
class StockFacts:
    """A stock as it is to be; lengths in µm. No page for labels on a roll."""

    code: str
    name: str
    width_um: int
    height_um: int
    margin_um: int = 0
    gap_um: int = 0
    head_dots: int = 8
    head_um: int = 1000
    page_width_um: int | None = None
    page_height_um: int | None = None
    left_um: int = 0
    top_um: int = 0
    columns: int = 1
    rows: int = 1
    gap_across_um: int = 0
    gap_down_um: int = 0
    active: bool = True


@dataclass(frozen=True)
class PrinterFacts:
    """A printer as it is to be."""

    code: str
    name: str
    address: str
    stock: str
    head_dots: int = 8
    head_um: int = 1000
    bench: str = ""
    active: bool = True


@dataclass(frozen=True)
class Kept:
    """A stock or printer that stands in the set-up."""

    code: str


def keep_stock(*, facts: StockFacts, sign: Sign, was: str = "") -> Kept:
    """Enter a stock, or change one; what was printed on it keeps its layout.

    Args:
        facts: The stock as it is to be.
        sign: Who, when and the operation key.
        was: Code of the stock that is changed; empty for a new one.

    Returns:
        Its code.

    Raises:
        Conflict: ``code_taken``.
        Missing: If there is no such stock to change.
        NotFit: ``sheet_too_small`` if its labels leave the page.
        Refused: ``code_malformed``, ``name_missing``, ``size_out_of_range``,
            ``head_out_of_range``, ``margin_too_wide``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Kept:
        del act
        _need_code(facts.code, facts.name)
        _need_size(facts)
        row = _row(Stock, was, facts.code)
        for name, value in asdict(facts).items():
            setattr(row, name, value)
        laid_out(row)
        row.save()
        return Kept(row.code)

    sent = {"was": was, **asdict(facts)}
    return perform("keep_stock", sign=sign, sent=sent, gives=Kept, work=work)


def keep_printer(*, facts: PrinterFacts, sign: Sign, was: str = "") -> Kept:
    """Enter a printer, or change one; jobs on their way go to its new address.

    Args:
        facts: The printer as it is to be.
        sign: Who, when and the operation key.
        was: Code of the printer that is changed; empty for a new one.

    Returns:
        Its code.

    Raises:
        Conflict: ``code_taken``.
        Missing: If there is no such printer, stock or bench.
        Refused: ``printer_address_wrong``, ``printer_address_not_allowed``,
            ``code_malformed``, ``name_missing``, ``head_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Kept:
        del act
        _need_code(facts.code, facts.name)
        _need_head(facts.head_dots, facts.head_um)
        row = _row(Printer, was, facts.code)
        row.code, row.name = facts.code, facts.name
        row.address = read_address(facts.address).text
        row.stock = _named(Stock, facts.stock)
        row.head_dots, row.head_um = facts.head_dots, facts.head_um
        row.bench = _named(Bench, facts.bench) if facts.bench else None
        row.active = facts.active
        row.asleep_until = None
        row.save()
        return Kept(row.code)

    sent = {"was": was, **asdict(facts)}
    return perform("keep_printer", sign=sign, sent=sent, gives=Kept, work=work)


def _row(model: type[R], was: str, code: str) -> R:
    """The row to change under its lock, or a new one."""
    if was != code and model.objects.filter(code=code).exists():
        raise Conflict("code_taken", read=code)
    if not was:
        return model()
    found = _named(model, was)
    return locking.lock_row(model, found.pk)


def _need_code(code: str, name: str) -> None:
    plain = code.isascii() and code.replace("-", "").isalnum()
    if not plain or len(code) > CODE_LONGEST or code != code.upper():
        raise Refused("code_malformed", read=code, most=CODE_LONGEST)
    if not name.strip():
        raise Refused("name_missing")


def _need_size(facts: StockFacts) -> None:
    sides = [facts.width_um, facts.height_um]
    if facts.page_width_um is not None and facts.page_height_um is not None:
        sides += [facts.page_width_um, facts.page_height_um]
    for side in sides:
        if not 1000 <= side <= LARGEST_UM:
            raise Refused("size_out_of_range", read_mm=side / 1000)
    if facts.margin_um * 2 >= min(facts.width_um, facts.height_um):
        raise Refused("margin_too_wide", read_mm=facts.margin_um / 1000)
    _need_head(facts.head_dots, facts.head_um)


def _need_head(dots: int, um: int) -> None:
    if dots < 1 or um < 1 or not 4 * um <= dots * 1000 <= FINEST * um:
        read = round(dots * 1000 / um, 2) if um else 0
        raise Refused("head_out_of_range", read=read, most=FINEST)


def _named(model: type[N], code: str) -> N:
    found = model.objects.filter(code=code).first()
    if found is None:
        raise Missing("row_missing", what=model.__name__.lower())
    return found
