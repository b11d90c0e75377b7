"""Set-up of label stock: the list, a new one, a change, its picture and its test page."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from kitting.domain.errors import LotwardError
from kitting.labels.trial import test_page
from kitting.ledger.coded import mark_of
from kitting.models import Stock
from kitting.printing.forms.stocks import StockForm
from kitting.printing.pictures import Grid, grid_of
from kitting.printing.queries.stocks import (
    Laid,
    facts_of,
    labels_for,
    laid_out,
    stock_lines,
)
from kitting.printing.services.stocks import keep_stock, trial
from kitting.web.acting import OK, UNFIT, attempt, say_and_go
from kitting.web.http import (
    LotwardRequest,
    add_refusal,
    allowed,
    get_or_404,
    pdf_response,
    render_part,
)
from kitting.web.messages import sentence

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

LABEL_WORDS: dict[str, _StrPromise] = {
    "badge": gettext_lazy("badges"),
    "bag": gettext_lazy("bags"),
    "bag_number": gettext_lazy("blank bag numbers"),
    "box": gettext_lazy("boxes"),
    "carrier": gettext_lazy("carriers"),
    "cleared": gettext_lazy("cleared bags"),
    "command": gettext_lazy("commands"),
    "place": gettext_lazy("places"),
    "set_slip": gettext_lazy("slips of sets"),
    "shipment": gettext_lazy("shipments"),
}
"""What the labels of a stock's size are for, by their name in the print log."""


def words_for(names: tuple[str, ...]) -> str:
    """Say what labels are for, in one line."""
    return ", ".join(str(LABEL_WORDS.get(name, name)) for name in names)


@allowed("kitting.set_up")
def stock_list(request: LotwardRequest) -> HttpResponse:
    """Every label stock, and what it is for."""
    lines = stock_lines()
    context = {
        "lines": [(line, words_for(line.labels)) for line in lines],
        "used": sum(line.stock.active for line in lines),
        "sheets": sum(line.stock.active and line.stock.sheet for line in lines),
    }
    return render(request, "kitting/printing/stocks.html", context)


@allowed("kitting.set_up", "GET", "POST")
def stock_new(request: LotwardRequest) -> HttpResponse:
    """Enter a stock, after a look at it."""
    return _keep(request, None)


@allowed("kitting.set_up", "GET", "POST")
def stock_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Show a stock, and change it."""
    return _keep(request, get_or_404(Stock, code=code))


def _keep(request: LotwardRequest, stock: Stock | None) -> HttpResponse:
    form = StockForm(
        request.POST or None, stock=stock, seen=mark_of(stock) if stock else ""
    )
    if "look" in request.POST:
        status = _look(form)
    else:
        act = partial(keep_stock, was=stock.code if stock else "")
        done, status = attempt(request, form, act)
        if done is not None:
            said = _("Stock %(code)s is kept. Print a test page of it.") % vars(done)
            to = reverse("kitting:stock-change", args=[done.code])
            return say_and_go(request, said, to)
    context: dict[str, Any] = {
        "form": form,
        "stock": stock,
        "grid": _grid(form, stock),
        "words": words_for(labels_for(stock)) if stock else "",
        "printers": list(stock.printers.filter(active=True)) if stock else [],
        "act": _("Change the stock") if stock else _("Enter the stock"),
    }
    return render_part(
        request, "kitting/printing/stock", "_stock_form", context, status=status
    )


def _look(form: StockForm) -> int:
    """Only look at what was entered: nothing is kept."""
    if not form.is_valid():
        return UNFIT
    try:
        trial(form.facts)
    except LotwardError as error:
        return add_refusal(form, error)
    return OK


def _grid(form: StockForm, stock: Stock | None) -> Grid | None:
    """The picture of what was entered, or of what is on record."""
    if not form.is_bound:
        return grid_of(facts_of(stock)) if stock else None
    return grid_of(form.facts) if form.is_valid() else None


@allowed("kitting.set_up")
def stock_test(request: LotwardRequest, code: str) -> HttpResponse:
    """A test page of a stock, as a PDF."""
    stock = get_or_404(Stock, code=code)
    back = reverse("kitting:stock-change", args=[code])
    return trial_page(request, laid_out(stock), code, back)


def trial_page(
    request: LotwardRequest, laid: Laid, code: str, back: str
) -> HttpResponse:
    """Give a test page as a PDF; what it cannot be is said on the page before."""
    try:
        pdf = test_page(laid.on, name=code).pdf
    except LotwardError as error:
        messages.error(request, sentence(error))
        return redirect(back)
    return pdf_response(pdf, f"test-{code}")
