"""What becomes of a rejected lot: sorting, sending back, scrapping, a concession."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.checking.forms import (
    BagsForm,
    ConcessionForm,
    ScrapBagsForm,
    SendBackForm,
    SortForm,
)
from kitting.checking.queries.checks import kinds_for
from kitting.checking.queries.rejected import rejected_page
from kitting.checking.services import rejected
from kitting.domain.shown import spaced
from kitting.ledger.reach import standing_reach
from kitting.lots.queries.lots import LotPage, one_lot
from kitting.models import Bag, Lot
from kitting.web.acting import act_page
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part


def _address(lot: Lot) -> str:
    return reverse("kitting:lot-rejected", args=[lot.number])


@allowed("kitting.see_work")
def lot_rejected(request: LotwardRequest, number: str) -> HttpResponse:
    """What became of the bags of a rejected lot, and what can be done with the rest."""
    lot = get_or_404(one_lot(), number=number)
    context = {
        "lot": lot,
        "shown": LotPage(lot, standing_reach()),
        "page": rejected_page(lot),
    }
    return render_part(
        request, "kitting/checking/inspection_rejected", "_inspection_rejected", context
    )


@allowed("kitting.check_lots", "GET", "POST")
def bag_sort(request: LotwardRequest, number: str, bag: str) -> HttpResponse:
    """Sort a rejected bag piece by piece."""
    lot = get_or_404(one_lot(), number=number)
    sorted_bag = get_or_404(Bag, number=bag, lot=lot)
    return act_page(
        request,
        "kitting/checking/inspection_sort",
        SortForm(request.POST or None, kinds=kinds_for(lot.part)),
        partial(rejected.sort_bag, bag_id=sorted_bag.pk),
        said=_("Bag %(bag)s is sorted: %(good)s good, %(bad)s scrapped."),
        to=_address(lot),
        fragment="_inspection_count",
        lot=lot,
        bag=sorted_bag,
        act=_("Scrap the bad pieces, accept the good ones"),
        part="inspection-count",
    )


@dataclass(frozen=True)
class _Step:
    """One of the acts in two steps: what it does to the bags that are chosen."""

    service: Callable[..., rejected.Disposed]
    page: str
    act: str
    asks: str
    """The second step's sentence, of the bags, the amount, the lot and its source."""
    said: Callable[[int], str]
    stop: bool = True


@allowed("kitting.check_lots", "GET", "POST")
def lot_send_back(request: LotwardRequest, number: str) -> HttpResponse:
    """Send rejected bags back to where they came from."""
    step = _Step(
        rejected.send_back,
        "inspection_send_back",
        _("Send the bags back"),
        _("%(bags)s with %(amount)s of lot %(lot)s leave the workshop for %(source)s."),
        said=lambda count: ngettext(
            "%(count)s bag is sent back. Bring it to the goods exit.",
            "%(count)s bags are sent back. Bring them to the goods exit.",
            count,
        ),
    )
    return _with_bags(request, number, SendBackForm, step)


@allowed("kitting.check_lots", "GET", "POST")
def lot_scrap(request: LotwardRequest, number: str) -> HttpResponse:
    """Scrap rejected bags with all that is in them."""
    step = _Step(
        rejected.scrap_rejected,
        "inspection_scrap",
        _("Scrap the bags"),
        _("%(bags)s with %(amount)s of lot %(lot)s are scrapped for good."),
        said=lambda count: ngettext(
            "%(count)s bag is scrapped. Put its pieces into the waste.",
            "%(count)s bags are scrapped. Put their pieces into the waste.",
            count,
        ),
    )
    form = partial(ScrapBagsForm, reasons=request.workshop.scrap_list)
    return _with_bags(request, number, form, step)


@allowed("kitting.accept_under_concession", "GET", "POST")
def lot_concession(request: LotwardRequest, number: str) -> HttpResponse:
    """Let rejected bags go on all the same."""
    step = _Step(
        rejected.accept_under_concession,
        "inspection_concession",
        _("Accept under concession"),
        _(
            "%(bags)s with %(amount)s of lot %(lot)s are used from now on like those of"
            " an accepted lot."
        ),
        said=lambda count: ngettext(
            "%(count)s bag is accepted under concession.",
            "%(count)s bags are accepted under concession.",
            count,
        ),
        stop=False,
    )
    return _with_bags(
        request, number, partial(ConcessionForm, by=str(request.user)), step
    )


def _with_bags(
    request: LotwardRequest, number: str, make: Callable[..., BagsForm], step: _Step
) -> HttpResponse:
    """Ask which bags and why; then show what that comes to, and do it."""
    lot = get_or_404(one_lot(), number=number)
    shown = rejected_page(lot)
    decided = [each.bag_id for each in shown.done if each.bag_id]
    form = make(request.POST or None, waiting=shown.waiting, decided=decided)
    if form.is_ready:
        form.ask(sum(bag.pieces for bag in _chosen(form)))
    return act_page(
        request,
        f"kitting/checking/{step.page}",
        form,
        partial(step.service, lot_id=lot.pk),
        said=lambda done: step.said(len(done.bags)) % {"count": len(done.bags)},
        to=_address(lot),
        around=lambda: {"asks": _asks(form, lot, step.asks)},
        fragment="_inspection_bags",
        lot=lot,
        page=shown,
        act=step.act,
        stop=step.stop,
        part="inspection-bags",
    )


def _chosen(form: BagsForm) -> list[Bag]:
    return [bag for bag in form.waiting if bag.pk in form.chosen]


def _asks(form: BagsForm, lot: Lot, words: str) -> str:
    """Say what the act would come to; nothing before bags are chosen."""
    bags = _chosen(form) if form.is_asking else []
    if not bags:
        return ""
    return words % {
        "bags": amount(len(bags), "bag"),
        "amount": amount(sum(bag.pieces for bag in bags), lot.part.unit),
        "lot": spaced(lot.number),
        "source": lot.source,
    }
