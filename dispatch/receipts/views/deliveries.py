"""What became of a shipment: its delivery recorded, corrected, settled."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from dispatch.domain.receipts import Found, Told
from dispatch.models import Shipment
from dispatch.receipts.forms.deliveries import CorrectionForm, DeliveryForm, SettleForm
from dispatch.receipts.queries.deliveries import Heard, after
from dispatch.receipts.services import deliveries as services
from kitting.models import Box
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.send_boxes", "GET", "POST")
def delivery_record(request: LotwardRequest, number: str) -> HttpResponse:
    """Record that a shipment was received."""
    shipment = shipment_gone(number)
    theirs = next(iter(after(shipment).heard), None)
    boxes = _boxes(shipment)
    form = DeliveryForm(
        request.POST or None,
        of=boxes,
        initial=_initial(theirs) | {"way": Told.PAGE} if theirs else {},
        shown=_shown(theirs, boxes),
    )
    return act_page(
        request,
        "dispatch/receipts/delivery_record",
        form,
        partial(services.record_delivery, shipment_id=shipment.pk),
        said=_received_words,
        to=_address(number),
        shipment=shipment,
        act=_("Record the delivery"),
    )


@allowed("kitting.send_boxes", "GET", "POST")
def delivery_correct(request: LotwardRequest, number: str) -> HttpResponse:
    """Correct what is on record of a delivery."""
    shipment = shipment_gone(number)
    known = after(shipment)
    ours = next((each for each in known.heard if each.pk == known.ours), None)
    boxes = _boxes(shipment)
    form = CorrectionForm(
        request.POST or None,
        of=boxes,
        initial=_initial(ours) if ours else {"seen": 0},
        shown=_shown(ours, boxes),
    )
    return act_page(
        request,
        "dispatch/receipts/delivery_correct",
        form,
        partial(services.correct_delivery, shipment_id=shipment.pk),
        said=_("The correction for %(shipment)s is on record, beside what was before."),
        to=_address(number),
        shipment=shipment,
        act=_("Record the correction"),
    )


@allowed("kitting.send_boxes", "GET", "POST")
def delivery_settle(request: LotwardRequest, number: str) -> HttpResponse:
    """Say what came of a difference in a delivery."""
    shipment = shipment_gone(number)
    known = after(shipment)
    form = SettleForm(request.POST or None, initial={"seen": known.newest})
    return act_page(
        request,
        "dispatch/receipts/delivery_settle",
        form,
        partial(services.settle_delivery, shipment_id=shipment.pk),
        said=_("The difference in %(shipment)s is settled."),
        to=_address(number),
        shipment=shipment,
        known=known,
        act=_("Settle it"),
    )


def shipment_gone(number: str) -> Shipment:
    """The shipment of that number that has left, with its consignee; else 404."""
    shipments = Shipment.objects.select_related("consignee")
    return get_or_404(shipments.filter(sent_at__isnull=False), number=number)


def _boxes(shipment: Shipment) -> list[Box]:
    live = shipment.shipment_boxes.filter(live=True).values("box")
    return list(Box.objects.filter(pk__in=live).order_by("serial"))


def _initial(heard: Heard) -> dict[str, Any]:
    at = timezone.localtime(heard.received_at)
    return {
        "seen": heard.pk,
        "way": heard.way,
        "by": heard.received_by,
        "on": at.date(),
        "at": at.time(),
        "boxes": heard.boxes,
        "note": heard.note,
    }


def _shown(heard: Heard | None, boxes: list[Box]) -> list[dict[str, Any]]:
    if heard is None:
        return []
    ids = {str(box): box.pk for box in boxes}
    return [
        {
            "box": ids.get(each.box),
            "found": each.found,
            "sets": each.counted,
            "note": each.note,
        }
        for each in heard.of_boxes
        if each.found != Found.WHOLE
    ]


def _received_words(done: services.Received) -> str:
    if done.absent:
        words = _(
            "The delivery of %(shipment)s is recorded. What did not arrive stays on"
            " “The day” until it is settled."
        )
    else:
        words = _("The delivery of %(shipment)s is recorded.")
    return words % vars(done)


def _address(number: str) -> str:
    return reverse("dispatch:shipment-detail", args=[number])
