"""The packing list of a shipment: a plain page to print and put with the boxes."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from dispatch.models import Shipment
from dispatch.shipments.queries import packing_list as queries
from dispatch.shipments.queries.shipments import by_size
from kitting.domain.stages import ShipmentStage
from kitting.ledger.locking import snapshot
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.see_work")
def packing_list(request: LotwardRequest, number: str) -> HttpResponse:
    """Show what is in a shipment, by serial, for the people who unpack it."""
    shipment = get_or_404(Shipment.objects.select_related("consignee"), number=number)
    with snapshot():
        packed = queries.packed_in(shipment)
        heads = queries.newest_links()
    context = {
        "shipment": shipment,
        "packed": packed,
        "sizes": by_size(packed),
        "boxes": len(packed),
        "sets": sum(box.sets for box in packed),
        "heads": heads,
        "may_still_change": shipment.stage == ShipmentStage.OPEN,
    }
    return render(request, "dispatch/shipments/packing_list.html", context)
