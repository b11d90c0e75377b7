"""Set-up of printers: the list, a new one, a change, and trying one out."""

from __future__ import annotations

from functools import partial
from typing import Final

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.errors import CodeError
from kitting.ipp.client import IppPrinter
from kitting.ledger import clock
from kitting.ledger.coded import mark_of
from kitting.models import Bench, Printer, Stock
from kitting.printing.forms.printers import PrinterForm
from kitting.printing.queries.printers import no_worker, printer_lines, worker_seen
from kitting.printing.queries.stocks import laid_out
from kitting.printing.services.printers import (
    Told,
    ask_printer,
    keep_printer,
    print_test_page,
)
from kitting.printing.views.stocks import trial_page
from kitting.printing.worker import reach
from kitting.web.acting import OK, act_page, attempt, done_before, say_and_go
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404, go, render_part
from kitting.web.messages import sentence

SOON_S: Final = 3.0
"""A page waits so many seconds for each step of a printer's answer, and no longer."""


@allowed("kitting.set_up")
def printer_list(request: LotwardRequest) -> HttpResponse:
    """Every printer, its stock and its bench."""
    lines = list(printer_lines())
    context = {
        "lines": lines,
        "used": sum(line.active for line in lines),
        "stocks": Stock.objects.filter(active=True).exists(),
        **_worker(),
    }
    return render(request, "kitting/printing/printers.html", context)


@allowed("kitting.set_up", "GET", "POST")
def printer_new(request: LotwardRequest) -> HttpResponse:
    """Enter a printer."""
    return _keep(request, None)


@allowed("kitting.set_up", "GET", "POST")
def printer_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Change a printer; under its old code it is asked for when an answer was lost."""
    gone = request.method == "POST" and not Printer.objects.filter(code=code).exists()
    if gone and done_before(request, KeyedForm(request.POST), "keep_printer"):
        return go(request, reverse("kitting:printers"))
    return _keep(request, _printer(code))


def _keep(request: LotwardRequest, printer: Printer | None) -> HttpResponse:
    form = PrinterForm(
        request.POST or None,
        stocks=_stocks(printer),
        benches=list(Bench.objects.filter(active=True).order_by("code")),
        printer=printer,
        seen=mark_of(printer) if printer else "",
    )
    return act_page(
        request,
        "kitting/printing/printer_form",
        form,
        partial(keep_printer, was=printer.code if printer else ""),
        said=_("Printer %(code)s is kept. Ask it, and print a test page."),
        to=lambda done: _address(done.code),
        printer=printer,
        act=_("Change the printer") if printer else _("Enter the printer"),
        back=_address(printer.code) if printer else reverse("kitting:printers"),
    )


def _stocks(printer: Printer | None) -> list[Stock]:
    """The stocks in use, and the one that is in the printer."""
    rows = Stock.objects.order_by("code")
    kept = printer.stock_id if printer else None
    return [row for row in rows if row.active or row.pk == kept]


@allowed("kitting.set_up")
def printer_detail(request: LotwardRequest, code: str) -> HttpResponse:
    """One printer, as it was entered."""
    return _show(request, _printer(code))


@allowed("kitting.set_up", "POST")
def printer_ask(request: LotwardRequest, code: str) -> HttpResponse:
    """Ask the printer about itself; only what was read as a fact is shown."""
    printer = _printer(code)
    form = KeyedForm(request.POST)
    act = partial(ask_printer, printer_id=printer.pk, connect=_soon)
    told, status = attempt(request, form, act)
    # The next touch is an act of its own.
    again = None if told is not None else form
    return _show(request, printer, ask=again, told=told, status=status)


def _soon(address: str) -> IppPrinter:
    return reach(address, timeout=SOON_S)


@allowed("kitting.set_up", "POST")
def printer_try(request: LotwardRequest, code: str) -> HttpResponse:
    """Send the printer a test page, as a print job."""
    printer = _printer(code)
    form = KeyedForm(request.POST)
    act = partial(print_test_page, printer_id=printer.pk)
    done, status = attempt(request, form, act)
    if done is None:
        return _show(request, printer, test=form, status=status)
    said = _("A test page of stock %(stock)s is on its way to %(printer)s.")
    values = {"stock": done.number, "printer": printer.name}
    return say_and_go(request, said % values, _address(code))


@allowed("kitting.set_up")
def printer_test(request: LotwardRequest, code: str) -> HttpResponse:
    """A test page with the printer's own dots, as a PDF."""
    printer = _printer(code)
    laid = laid_out(printer.stock, head=(printer.head_dots, printer.head_um))
    return trial_page(request, laid, printer.stock.code, _address(code))


def _printer(code: str) -> Printer:
    return get_or_404(printer_lines(), code=code)


def _address(code: str) -> str:
    return reverse("kitting:printer-detail", args=[code])


def _worker() -> dict[str, object]:
    """Whether print jobs wait and no worker takes them."""
    return {
        "no_worker": no_worker(clock.now()),
        "worker_seen": worker_seen(),
    }


def _show(
    request: LotwardRequest,
    printer: Printer,
    *,
    ask: KeyedForm | None = None,
    test: KeyedForm | None = None,
    told: Told | None = None,
    status: int = OK,
) -> HttpResponse:
    findings = told.findings if told else ()
    context = {
        "printer": printer,
        "ask": ask or KeyedForm(auto_id="ask_%s"),
        "test": test or KeyedForm(auto_id="test_%s"),
        "told": told,
        "findings": [
            (one.good, sentence(CodeError(one.code, **one.params))) for one in findings
        ],
        **_worker(),
    }
    return render_part(
        request, "kitting/printing/printer", "_printer_told", context, status=status
    )
