"""Labels of a shipment: one for each of its boxes, all of them or the stale ones."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.urls import reverse

from dispatch.models import Shipment
from dispatch.shipments.labels import SHIPMENTS, numbers_of, stale_labels
from kitting.printing.views.prints import print_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.print_labels", "GET", "POST")
def shipment_labels(request: LotwardRequest, number: str) -> HttpResponse:
    """Print the labels of a shipment; ``?stale=1`` only those that changed since."""
    shipment = get_or_404(Shipment, number=number)
    numbers = numbers_of(shipment)
    if "stale" in request.GET:
        stale = set(stale_labels(shipment))
        numbers = [one for one in numbers if one in stale]
    if not numbers and request.method == "GET":
        raise Http404("No label of this shipment is to be printed.")
    back = reverse("dispatch:shipment-detail", args=[number])
    return print_page(request, SHIPMENTS, numbers, back=back)
