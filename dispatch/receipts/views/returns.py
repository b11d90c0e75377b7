"""What comes back, and what is passed on."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.consignees.queries import points_at
from dispatch.models import Return
from dispatch.pallets.queries.pallets import box_scanned
from dispatch.receipts.forms.passing import PassForm
from dispatch.receipts.forms.returns import ReturnForm, UndoReturnForm
from dispatch.receipts.services import passing, returns
from dispatch.receipts.views.deliveries import shipment_gone
from kitting.domain.stages import GONE
from kitting.ledger import clock
from kitting.ledger.operations import Sign
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.send_boxes", "GET", "POST")
def return_new(request: LotwardRequest) -> HttpResponse:
    """Record that a box came back, or loose sets of one."""

    def act(scan: str, sign: Sign, **said: Any) -> returns.CameBack:
        return returns.record_return(box_id=box_scanned(scan), sign=sign, **said)

    return act_page(
        request,
        "dispatch/receipts/return_new",
        ReturnForm(
            request.POST or None, initial={"scan": request.GET.get("box", "")[:40]}
        ),
        act,
        said=_came_back,
        to=lambda done: reverse("kitting:box-detail", args=[done.box]),
        back=reverse("dispatch:shipments"),
        act=_("Record the return"),
    )


def _came_back(done: returns.CameBack) -> str:
    if done.whole:
        words = _("Box %(box)s is returned. Nothing of it goes back to stock.")
    else:
        words = _("What came back of box %(box)s is on record. It stays in quarantine.")
    return words % {"box": done.box}


@allowed("kitting.send_boxes", "GET", "POST")
def return_undo(request: LotwardRequest, pk: int) -> HttpResponse:
    """Say that a return was recorded for the wrong box."""
    row = get_or_404(Return.objects.select_related("box", "operation"), pk=pk)
    page = reverse("kitting:box-detail", args=[row.box])
    return act_page(
        request,
        "dispatch/receipts/return_undo",
        UndoReturnForm(request.POST or None),
        partial(returns.undo_return, return_id=pk),
        said=_("Box %(box)s did not come back: it is %(stage)s again."),
        to=page,
        back=page,
        returned=row,
        act=_("It did not come back"),
        stop=True,
    )


@allowed("kitting.send_boxes", "GET", "POST")
def box_pass(request: LotwardRequest, number: str) -> HttpResponse:
    """Record that boxes of a shipment were passed on to another place."""
    shipment = shipment_gone(number)
    there = shipment.shipment_boxes.filter(live=True)
    if request.method == "GET":  # what is sent may be so again, after a box came back
        there = there.filter(box__stage__in=GONE)
    form = PassForm(
        request.POST or None,
        of=there.values_list("box", flat=True),
        initial={"on": clock.today()},
    )
    return act_page(
        request,
        "dispatch/receipts/box_pass",
        form,
        partial(passing.pass_on, shipment_id=shipment.pk),
        said=_("It is on record that %(consignee)s has boxes of %(shipment)s now."),
        to=reverse("dispatch:shipment-detail", args=[number]),
        shipment=shipment,
        points=points_at(request.POST.get("consignee", "")),
        act=_("Record it"),
    )
