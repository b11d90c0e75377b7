"""Papers of shipments: packing list and delivery note of one, the driver's copy of some."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.labels import papers
from dispatch.labels.sheets import paper_of
from dispatch.labels.stops import drivers_copy
from dispatch.models import Shipment
from dispatch.shipments.forms import RoundForm
from dispatch.shipments.queries.papers import leaving_on, load_of, round_of
from kitting.domain.errors import NotFit
from kitting.labels.stock import Stock
from kitting.ledger import clock
from kitting.ledger.locking import snapshot
from kitting.web.http import LotwardRequest, allowed, get_or_404, pdf_response
from kitting.web.messages import sentence

Draw = Callable[[papers.Load, Stock], bytes]


@allowed("kitting.see_work")
def packing_list(request: LotwardRequest, number: str) -> HttpResponse:
    """The packing list of a shipment, as PDF, for the people who unpack it."""
    return _paper(request, number, papers.packing_list, "packing-list")


@allowed("kitting.see_work")
def delivery_note(request: LotwardRequest, number: str) -> HttpResponse:
    """The delivery note of a shipment, as PDF, for whoever receives it."""
    return _paper(request, number, papers.delivery_note, "delivery-note")


def _paper(request: LotwardRequest, number: str, draw: Draw, name: str) -> HttpResponse:
    shipment = get_or_404(Shipment.objects.select_related("consignee"), number=number)
    try:
        with snapshot():
            load = load_of(shipment, request.workshop)
        if load.packed:
            pdf = draw(load, paper_of(request.workshop.country))
            return pdf_response(pdf, f"{name}-{number}")
        said = _("No box is in the shipment, so it has no paper. Scan its boxes first.")
    except NotFit as error:
        said = sentence(error)
    messages.error(request, said)
    return redirect(reverse("dispatch:shipment-detail", args=[number]))


@allowed("kitting.see_work")
def drivers_round(request: LotwardRequest) -> HttpResponse:
    """Choose the stops of a day and their order, which stand in the address."""
    day = RoundForm(request.GET).day or clock.today()
    rows = leaving_on(day)
    form = RoundForm(request.GET, rows=rows)
    status = 200 if form.is_valid() else 422
    if status == 200 and "as" in request.GET and (stops := form.stops()):
        round_ = round_of(stops, day, request.workshop)
        try:
            pdf = drivers_copy(round_, paper_of(request.workshop.country))
            return pdf_response(pdf, f"drivers-copy-{day}")
        except NotFit as error:
            form.add_error(None, sentence(error))
            status = 422
    context = {"form": form, "day": day, "rows": form.lines()}
    return render(request, "dispatch/shipments/round.html", context, status=status)
