"""What becomes of a rejected lot: sorting a bag, sending back, a concession."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.checking.forms import BagsForm, ConcessionForm, SortForm
from kitting.checking.queries.checks import kinds_for
from kitting.checking.queries.rejected import rejected_page
from kitting.checking.services import rejected
from kitting.ledger.reach import standing_reach
from kitting.lots.queries.lots import LotPage, one_lot
from kitting.models import Bag, Lot
from kitting.web.acting import act_page
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


@allowed("kitting.check_lots", "GET", "POST")
def lot_send_back(request: LotwardRequest, number: str) -> HttpResponse:
    """Send rejected bags back to their source."""
    return _with_bags(
        request,
        number,
        BagsForm,
        service=rejected.send_back,
        page="inspection_send_back",
        act=_("Send the bags back"),
        said=lambda count: ngettext(
            "%(count)s bag is sent back. Bring it to the goods exit.",
            "%(count)s bags are sent back. Bring them to the goods exit.",
            count,
        ),
    )


@allowed("kitting.accept_under_concession", "GET", "POST")
def lot_concession(request: LotwardRequest, number: str) -> HttpResponse:
    """Let rejected bags go on all the same."""
    return _with_bags(
        request,
        number,
        partial(ConcessionForm, by=str(request.user)),
        service=rejected.accept_under_concession,
        page="inspection_concession",
        act=_("Accept under concession"),
        said=lambda count: ngettext(
            "%(count)s bag is accepted under concession.",
            "%(count)s bags are accepted under concession.",
            count,
        ),
    )


def _with_bags(
    request: LotwardRequest,
    number: str,
    form: Callable[..., BagsForm],
    *,
    service: Callable[..., rejected.Disposed],
    page: str,
    act: str,
    said: Callable[[int], str],
) -> HttpResponse:
    lot = get_or_404(one_lot(), number=number)
    shown = rejected_page(lot)
    decided = [each.bag_id for each in shown.done if each.bag_id]
    return act_page(
        request,
        f"kitting/checking/{page}",
        form(request.POST or None, waiting=shown.waiting, decided=decided),
        partial(service, lot_id=lot.pk),
        said=lambda done: said(len(done.bags)) % {"count": len(done.bags)},
        to=_address(lot),
        lot=lot,
        page=shown,
        act=act,
        stop=service is rejected.send_back,
    )
