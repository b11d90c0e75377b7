"""Printers: kept, asked what they say of themselves, tried with a test page."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Any, Final

from kitting.domain.errors import Conflict, LotwardError, Refused
from kitting.domain.stocks import PrinterFacts, need_dots, need_head
from kitting.ipp.address import read_address
from kitting.ipp.client import IppPrinter
from kitting.ipp.facts import Media
from kitting.labels.copies import data_sha
from kitting.labels.press import press
from kitting.labels.pressed import Pressed
from kitting.labels.trial import test_page
from kitting.ledger import locking
from kitting.ledger.coded import named, need_name, row_to_keep
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, outcome_of, perform
from kitting.models import Bench, Printer, Stock, Workshop
from kitting.printing import fitting
from kitting.printing.queries.longest import LOOKED_AT
from kitting.printing.queries.printers import printer_of
from kitting.printing.queries.stocks import Laid, laid_out
from kitting.printing.report import NO, Finding, report
from kitting.printing.services.stocks import Entered, page_um_of
from kitting.printing.steps import Tried, send_test


@dataclass(frozen=True)
class Asked:
    """That a printer was asked, as the journal has it."""

    printer: str
    told: str
    """Its state, or the code of what kept it from telling."""


@dataclass(frozen=True)
class Told:
    """What came of asking a printer."""

    findings: tuple[Finding, ...]
    answered: bool
    model: str = ""
    """What it calls itself."""


def ask_printer(
    *, printer_id: int, connect: Callable[[str], IppPrinter], sign: Sign
) -> Told:
    """Ask a printer about itself, and note in the journal who did.

    The server connects to what is entered as an address, so it stands on record by
    whom it was made to. Asking again under one key asks again and is noted once.

    Args:
        printer_id: The printer, in use or not.
        connect: Gives the client of its address.
        sign: Who, when and the operation key.

    Returns:
        What it told, or why it did not.

    Raises:
        Missing: If there is no such printer.
        OperationKeyReused: If the key was used for another act.
    """
    outcome_of(sign)  # Somebody else's key: before anything is connected to.
    rows = Printer.objects.select_related("stock")
    printer = need_row(rows.filter(pk=printer_id))
    told, word = _ask(printer, connect)

    def work(act: Act) -> Asked:
        del act
        return Asked(printer.code, word)

    perform("ask_printer", work, Asked, sign, printer=printer_id)
    return told


def _ask(printer: Printer, connect: Callable[[str], IppPrinter]) -> tuple[Told, str]:
    try:
        facts = connect(printer.address).facts()
    except LotwardError as error:
        finding = Finding(error.code, NO, error.params)
        return Told((finding,), answered=False), error.code
    dots = Fraction(printer.head_dots * 1000, printer.head_um)
    media = Media(*_laid(printer).page_um)
    findings = tuple(report(facts, media, dots))
    return Told(findings, answered=True, model=facts.model), facts.state


def print_test_page(*, printer_id: int, sign: Sign) -> Tried:
    """Send a page to a printer that shows its edges, a ruler and its dots.

    It stands in the print log under the code of the stock. Another one is no reprint of
    a label: nothing has to be destroyed.

    Args:
        printer_id: The printer.
        sign: Who, when and the operation key.

    Returns:
        What is on its way.

    Raises:
        Conflict: ``page_is_old`` if the printer or its stock was changed meanwhile.
        LotwardError: ``label_unreadable`` or ``bars_uneven`` if its symbol does not
            read back.
        Missing: If there is no such printer, or it is out of use.
        NotFit: ``stock_too_small``.
        OperationKeyReused: If the key was used for another act.
    """
    ready: tuple[Printer, Laid, Pressed] | None = None
    if outcome_of(sign) is None:
        printer = _in_use(printer_id)
        laid = _laid(printer)
        ready = printer, laid, test_page(laid.on, name=printer.stock.code)

    def work(act: Act) -> Tried:
        assert ready is not None  # noqa: S101
        before, laid, pressed = ready
        # Two test pages of one stock at once are two copies.
        locking.lock_row(Stock, before.stock_id)
        now = _in_use(printer_id)
        number = now.stock.code
        if (number, _laid(now)) != (before.stock.code, laid):
            raise Conflict("page_is_old")
        sha = hashlib.sha256(laid.text.encode()).digest()
        return send_test(act, pressed, laid, printer=now, number=number, data_sha=sha)

    return perform("print_test_page", work, Tried, sign, printer=printer_id)


@dataclass(frozen=True)
class LookedAt:
    """That somebody looked at every label, and what came of it."""

    labels: list[str]
    """Those that there are, as the print log names them."""
    unfit: list[str]
    """Those of them that cannot be printed."""


def look_at_labels(*, sign: Sign) -> LookedAt:
    """Say that every label was looked at, with the longest that there is on each.

    All of them are drawn once more on every head in use, and read back.

    Args:
        sign: Who, when and the operation key.

    Returns:
        Which labels, and which of them cannot be printed.

    Raises:
        OperationKeyReused: If the key was used for another act.
    """
    tried: dict[str, bool] = {}
    if outcome_of(sign) is None:
        tried = {
            one.name: fault is None
            for one in fitting.ALL
            for fault in [fitting.fault_of(one)]
            if fault is None or fault.code != "label_of_nothing"
        }

    def work(act: Act) -> LookedAt:
        del act
        return LookedAt([*tried], [name for name, fits in tried.items() if not fits])

    return perform(LOOKED_AT, work, LookedAt, sign)


def try_label(*, name: str, printer_id: int, sign: Sign) -> Tried:
    """Print the longest label of a kind as a test: marked, and nothing on it is live.

    Args:
        name: The kind, as the print log names it.
        printer_id: The printer.
        sign: Who, when and the operation key.

    Returns:
        What is on its way.

    Raises:
        CodeError: If what it says cannot be encoded.
        Conflict: ``page_is_old`` if the printer or its stock was changed meanwhile.
        LotwardError: As in ``press``.
        Missing: If there are no such labels, or no such printer in use.
        NotFit: If it does not fit the stock in the printer.
        OperationKeyReused: If the key was used for another act.
        Refused: ``label_of_nothing`` while nothing has such a label.
    """
    one = fitting.longest_of(name)
    ready: tuple[Laid, Any, Pressed] | None = None
    if outcome_of(sign) is None:
        laid = _laid(_in_use(printer_id))
        _of, face = fitting.longest_face(one)
        ready = laid, face, fitting.drawn_test(one, face, laid.on, press)

    def work(act: Act) -> Tried:
        assert ready is not None  # noqa: S101
        laid, face, pressed = ready
        # Two tests of one label at once are two copies, on whatever printer.
        locking.lock_row(Workshop, act.workshop.pk)
        now = _in_use(printer_id)
        if _laid(now) != laid:
            raise Conflict("page_is_old")
        sha = data_sha([face])
        return send_test(act, pressed, laid, printer=now, number=name, data_sha=sha)

    return perform("try_label", work, Tried, sign, label=name, printer=printer_id)


def _laid(printer: Printer) -> Laid:
    return laid_out(printer.stock, head=(printer.head_dots, printer.head_um))


def _in_use(printer_id: int) -> Printer:
    code = Printer.objects.filter(pk=printer_id).values_list("code", flat=True).first()
    return printer_of(code or "")


ADDRESS_LONGEST: Final = 255


def keep_printer(
    *, facts: PrinterFacts, sign: Sign, was: str = "", seen: str = ""
) -> Entered:
    """Enter a printer, or change one.

    Jobs that wait go to its new address. What was sent to another one is given up by the
    worker: somebody has to look what came out there.

    Args:
        facts: The printer as it is to be.
        sign: Who, when and the operation key.
        was: Code of the printer that is changed; empty for a new one.
        seen: ``queries.stocks.mark_of`` the printer that was looked at before; empty
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

    def work(act: Act) -> Entered:
        row = row_to_keep(act, Printer, facts.code, was, seen)
        fill_printer(row, facts)
        row.save()
        return Entered(row.code)

    return perform(
        "keep_printer", work, Entered, sign, was=was, seen=seen, **asdict(facts)
    )


def fill_printer(row: Printer, facts: PrinterFacts) -> None:
    """Write what is known of a printer into its row, which is not saved.

    Args:
        row: The row; its code stands.
        facts: The printer as it is to be.

    Raises:
        Missing: If there is no such stock or bench.
        Refused: As in ``keep_printer``.
    """
    need_head(facts.head_dots, facts.head_um)
    row.name = need_name(facts.name)
    row.address = _address(facts.address)
    row.stock = named(Stock, facts.stock)
    if facts.active and not row.stock.active:
        raise Refused("stock_out_of_use", stock=row.stock.code)
    need_dots(*page_um_of(row.stock), facts.head_dots, facts.head_um)
    row.head_dots, row.head_um = facts.head_dots, facts.head_um
    row.bench = named(Bench, facts.bench) if facts.bench else None
    row.active = facts.active
    row.asleep_until = None


def _address(text: str) -> str:
    address = read_address(text).text
    if len(address) > ADDRESS_LONGEST:
        why = f"it is longer than {ADDRESS_LONGEST} characters"
        raise Refused("printer_address_wrong", read=address, why=why)
    return address
