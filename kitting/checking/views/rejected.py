"""What becomes of a rejected lot: sorting a bag, sending back, a concession."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from kitting.checking.forms.checks import BagsForm, SortForm
from kitting.checking.queries.checks import kinds_for
from kitting.checking.queries.inspection import rejected_page
from kitting.checking.services import rejected
from kitting.ledger.reach import standing_reach
from kitting.lots.queries.lots import LotPage, one_lot
from kitting.models import Bag
from kitting.web.acting import OK, attempt
from kitting.web.http import allowed, get_or_404, go, render_part

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse

    from kitting.models import Lot
    from kitting.web.http import LotwardRequest


def _address(lot: Lot) -> str:
    return reverse("kitting:lot-rejected", args=[lot.number])


@allowed("kitting.see_work")
@require_GET
def lot_rejected(request: LotwardRequest, number: str) -> HttpResponse:
    """What became of the bags of a rejected lot, and what can be done with the rest."""
    lot = get_or_404(one_lot(), number=number)
    context = {
        "lot": lot,
        "shown": LotPage(lot, standing_reach()),
        "page": rejected_page(lot),
        "here": "kitting:lots",
    }
    return render_part(
        request,
        page="kitting/checking/inspection_rejected.html",
        part="kitting/checking/_inspection_rejected.html",
        context=context,
    )


@allowed("kitting.check_lots")
@require_http_methods(["GET", "POST"])
def bag_sort(request: LotwardRequest, number: str, bag: str) -> HttpResponse:
    """Sort a rejected bag piece by piece."""
    lot = get_or_404(one_lot(), number=number)
    sorted_bag = get_or_404(Bag, number=bag, lot=lot)
    form = SortForm(request.POST or None, kinds=kinds_for(lot.part))
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: rejected.sort_bag(
                bag_id=sorted_bag.pk,
                good=form.cleaned_data["good"],
                defects=form.defects,
                unlisted=form.unlisted,
                reason=form.cleaned_data["reason"],
                sign=sign,
            ),
        )
        if done is not None:
            said = _("Bag %(bag)s is sorted: %(good)s good, %(bad)s scrapped.")
            values = {"bag": done.bag, "good": done.good, "bad": done.bad}
            messages.success(request, said % values)
            return go(request, _address(lot))
    return render_part(
        request,
        page="kitting/checking/inspection_sort.html",
        part="kitting/checking/_inspection_count.html",
        context={
            "lot": lot,
            "bag": sorted_bag,
            "form": form,
            "act": _("Scrap the bad pieces, accept the good ones"),
            "part": "inspection-count",
            "back": _address(lot),
            "here": "kitting:lots",
        },
        status=status,
    )


@allowed("kitting.check_lots")
@require_http_methods(["GET", "POST"])
def lot_send_back(request: LotwardRequest, number: str) -> HttpResponse:
    """Send rejected bags back to their source."""
    return _with_bags(
        request,
        number,
        service=rejected.send_back,
        page="inspection_send_back",
        act=_("Send the bags back"),
        said=lambda count: ngettext(
            "%(count)s bag is sent back. Bring it to the goods exit.",
            "%(count)s bags are sent back. Bring them to the goods exit.",
            count,
        ),
    )


@allowed("kitting.accept_under_concession")
@require_http_methods(["GET", "POST"])
def lot_concession(request: LotwardRequest, number: str) -> HttpResponse:
    """Let rejected bags go on all the same."""
    return _with_bags(
        request,
        number,
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
    *,
    service: Callable[..., rejected.Disposed],
    page: str,
    act: str,
    said: Callable[[int], str],
) -> HttpResponse:
    lot = get_or_404(one_lot(), number=number)
    shown = rejected_page(lot)
    decided = [each.bag_id for each in shown.done if each.bag_id]
    form = BagsForm(request.POST or None, waiting=shown.waiting, decided=decided)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: service(
                lot_id=lot.pk,
                bag_ids=form.ids,
                reason=form.cleaned_data["reason"],
                sign=sign,
            ),
        )
        if done is not None:
            count = len(done.bags)
            messages.success(request, said(count) % {"count": count})
            return go(request, _address(lot))
    context: dict[str, Any] = {
        "lot": lot,
        "page": shown,
        "form": form,
        "act": act,
        "stop": service is rejected.send_back,
        "part": page.replace("_", "-"),
        "back": _address(lot),
        "here": "kitting:lots",
    }
    return render_part(
        request,
        page=f"kitting/checking/{page}.html",
        part="_form.html",
        context=context,
        status=status,
    )
