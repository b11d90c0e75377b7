"""The page on which a lot that was taken in by mistake is cancelled."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.utils.translation import gettext as _

from kitting.domain.shown import spaced
from kitting.ledger.reach import standing_reach
from kitting.lots.forms.cancelling import CancelLotForm
from kitting.lots.queries.lots import LotPage, one_lot
from kitting.lots.services.cancelling import cancel_lot
from kitting.lots.views.lots import lot_address
from kitting.web.acting import act_page
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.take_in", "GET", "POST")
def lot_cancel(request: LotwardRequest, number: str) -> HttpResponse:
    """Cancel a lot of which nothing has been used."""
    lot = get_or_404(one_lot(), number=number)
    shown = LotPage(lot, standing_reach())
    held = amount(shown.pieces, lot.part.unit)
    return act_page(
        request,
        "kitting/lots/lot_cancel",
        CancelLotForm(request.POST or None, pieces=shown.pieces),
        partial(cancel_lot, lot_id=lot.pk),
        said=_("Lot %(lot)s is cancelled. Destroy the labels of its bags."),
        to=lot_address(lot.number),
        lot=lot,
        shown=shown,
        act=_("Cancel lot %(lot)s with %(held)s")
        % {"lot": spaced(lot.number), "held": held},
        stop=True,
    )
