"""Shipments: begun, filled scan by scan, sent whole or cancelled, and their labels."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.db.models import Q
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.consignees.queries import points_at
from dispatch.models import Pallet, Shipment
from dispatch.pallets.forms import BoxScanForm, TakeOffForm
from dispatch.pallets.labels import PALLETS
from dispatch.pallets.queries.pallets import pallet_named, scanned, stays
from dispatch.requests.queries.requests import open_for
from dispatch.requests.words import TIERS
from dispatch.shipments import services
from dispatch.shipments.forms import BeginForm, CancelForm, PalletOffForm, SendForm
from dispatch.shipments.labels import (
    SHIPMENTS,
    labels_lacking,
    numbers_of,
    stale_labels,
    stale_now,
)
from dispatch.shipments.queries import shipments as queries
from dispatch.shipments.queries.fetch import FetchList, came, fetch_list
from dispatch.shipments.queries.shipments import OnBoard, by_pallet, by_size
from dispatch.shipments.words import CAME
from kitting.domain.stages import ShipmentStage
from kitting.ledger import clock
from kitting.ledger.operations import Sign
from kitting.ledger.reach import Reach, reach_of, standing_reach
from kitting.ledger.standing import told_holds
from kitting.printing.views.prints import print_page
from kitting.web.acting import Said, attempt_scan, said_of_scan, say_and_go, say_of_scan
from kitting.web.figures import amount
from kitting.web.forms import KeyedForm
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    go,
    new_op_key,
    render_part,
    wants_fragment,
)
from kitting.web.tables import Column, file_response

NOTHING_NEW = 204


COLUMNS: list[Column[OnBoard]] = [
    Column("box", "box"),
    Column("product", "product"),
    Column("sets", "sets"),
    Column("packed_on", "packed_on"),
    Column("use_by", "use_by"),
    Column("lots", lambda row: " ".join(lot.number for lot in row.lots)),
]


@allowed("kitting.see_work")
def shipments(request: LotwardRequest) -> HttpResponse:
    """The open shipments first, then what could go and what went lately."""
    ready = queries.ready_to_go(clock.today(), standing_reach())
    context = {
        "open": queries.open_shipments(),
        "lately": queries.lately_ended(),
        "ready": ready,
        "ready_boxes": sum(kind.boxes for kind in ready),
        "ready_sets": sum(kind.boxes * kind.sets for kind in ready),
    }
    return render(request, "dispatch/shipments/shipments.html", context)


@allowed("kitting.send_boxes", "GET", "POST")
def shipment_new(request: LotwardRequest) -> HttpResponse:
    """Begin a shipment, and go on to its page."""
    form = BeginForm(request.POST or None)
    begun, status = attempt_scan(request, form, services.begin_shipment)
    if begun is not None:
        return go(request, _address(begun.shipment))
    context = {
        "form": form,
        "open": queries.open_shipments(),
        "points": points_at(request.POST.get("consignee", "")),
    }
    return render(
        request, "dispatch/shipments/shipment_new.html", context, status=status
    )


@allowed("kitting.see_work")
def shipment_detail(request: LotwardRequest, number: str) -> HttpResponseBase:
    """One shipment: filled while it is open, afterwards told."""
    shipment = get_or_404(Shipment, number=number)
    if "as" in request.GET:
        boxes = queries.on_board(shipment)
        if file := file_response(
            request, f"shipment-{shipment.number}", COLUMNS, boxes
        ):
            return file
    return _show(request, shipment)


@allowed("kitting.send_boxes", "POST")
def shipment_scan(request: LotwardRequest, number: str) -> HttpResponse:
    """Put the box or pallet that was scanned onto the shipment."""
    shipment = get_or_404(Shipment, number=number)
    form = BoxScanForm(request.POST)
    before = _fetch_list(shipment, reach_of(told_holds()))

    def load(sign: Sign, scan: str) -> services.Scanned | services.PalletScanned:
        found, of = scanned(scan), shipment.pk
        if isinstance(found, Pallet):
            return services.load_pallet(shipment_id=of, pallet_id=found.pk, sign=sign)
        return services.load_box(shipment_id=of, box_id=found.pk, sign=sign)

    done, status = attempt_scan(request, form, load)
    said = Said("")
    if isinstance(done, services.PalletScanned):
        said = _said_of_pallet(shipment, done, before)
    elif done is not None:
        loaded = came(shipment, done.box, before)
        words = CAME[loaded.code] % {**vars(loaded), "box": done.box}
        said = Said(words, besides=loaded.code != "")
    return _after_scan(request, shipment, form, done, said=said, status=status)


def _said_of_pallet(
    shipment: Shipment, done: services.PalletScanned, before: FetchList
) -> Said:
    """Say that a pallet is on, and how many of its boxes nobody asked for."""
    on = shipment.shipment_boxes.filter(pallet__number=done.pallet, live=True)
    more = on.filter(request=None).count() if before.wanted else 0
    named = {"pallet": done.pallet, "boxes": amount(done.its, "box"), "more": more}
    if not more:
        words = _("Pallet %(pallet)s is on the shipment with %(boxes)s.")
        return Said(words % named)
    words = _(
        "Pallet %(pallet)s is on the shipment with %(boxes)s, %(more)s more than they"
        " asked for. If that is not meant, take it off."
    )
    return Said(words % named, besides=True)


def _fetch_list(shipment: Shipment, reach: Reach) -> FetchList:
    return fetch_list(shipment, open_for(shipment), reach, clock.today())


@allowed("kitting.send_boxes", "POST")
def shipment_take_off(request: LotwardRequest, number: str) -> HttpResponse:
    """Take a box off the shipment again."""
    shipment = get_or_404(Shipment, number=number)
    form = TakeOffForm(request.POST)
    done, status = attempt_scan(
        request,
        form,
        lambda sign, box: services.take_off_box(
            shipment_id=shipment.pk, box_id=box, sign=sign
        ),
    )
    said = Said(_said_off(done, form.cleaned_data["box"]) if done else "")
    return _after_scan(request, shipment, form, done, said=said, status=status)


def _said_off(done: services.Scanned, box: int) -> str:
    """Say where a box goes that came off, and what is to be done about its pallet."""
    words = [_("Box %(box)s is off the shipment.")]
    if done.pallet:
        words = [_("Box %(box)s is off the shipment and off pallet %(pallet)s.")]
    if stays(box, standing_reach(), clock.today()):
        words.append(_("It may not go. Put it in quarantine."))
    else:
        words.append(_("Put it away."))
    if done.pallet:
        words.append(_("Print the label of the pallet again."))
    return " ".join(words) % vars(done)


@allowed("kitting.send_boxes", "POST")
def shipment_pallet_off(request: LotwardRequest, number: str) -> HttpResponse:
    """Take a whole pallet off the shipment again."""
    shipment = get_or_404(Shipment, number=number)
    form = PalletOffForm(request.POST)
    done, status = attempt_scan(
        request,
        form,
        lambda sign, pallet: services.take_off_pallet(
            shipment_id=shipment.pk, pallet_id=pallet_named(pallet).pk, sign=sign
        ),
    )
    words = _("Pallet %(pallet)s is off the shipment, as it was before. Put it away.")
    said = Said(words % vars(done) if done else "")
    return _after_scan(request, shipment, form, done, said=said, status=status)


@allowed("kitting.send_boxes", "GET", "POST")
def shipment_send(request: LotwardRequest, number: str) -> HttpResponse:
    """Ask who takes the shipment, and send it whole if it is what the page showed."""
    shipment = get_or_404(Shipment, number=number)
    kept = f"sending {shipment.pk}"  # what was written, while something must come off
    written = request.session.get(kept, {"reference": shipment.reference})
    form = SendForm(request.POST or None, initial=written)
    act = partial(services.send_shipment, shipment_id=shipment.pk)
    sent, status = attempt_scan(request, form, act)
    if sent is not None:
        request.session.pop(kept, None)
        words = _("Shipment %(shipment)s is sent: %(boxes)s, %(sets)s.") % {
            "shipment": sent.shipment,
            "boxes": amount(sent.boxes, "box"),
            "sets": amount(sent.sets, "set"),
        }
        return say_and_go(request, words, _address(number))
    if request.method == "POST":
        request.session[kept] = form.written
    seen = queries.last_scan(shipment)  # before the boxes: what comes later is not seen
    shipment = queries.with_figures(Q(pk=shipment.pk)).get()
    boxes = queries.on_board(shipment, reach_of(told_holds()), clock.today())
    if shipment.stage != ShipmentStage.OPEN or not boxes:
        if request.method == "GET":
            return redirect(_address(number))
        return _show(request, shipment, wrong=form, status=status)
    form.show(seen)
    context = {
        "form": form,
        "shipment": shipment,
        "sizes": by_size(boxes),
        "held": [(box, new_op_key()) for box in boxes if box.comes_off],
        "stale": stale_now(shipment),
        "before": queries.named_before(),
    }
    return render(
        request, "dispatch/shipments/shipment_send.html", context, status=status
    )


@allowed("kitting.send_boxes", "GET", "POST")
def shipment_cancel(request: LotwardRequest, number: str) -> HttpResponse:
    """Cancel an open shipment, with a reason; its boxes are ready again."""
    shipment = get_or_404(Shipment, number=number)
    if request.method == "GET" and shipment.stage != ShipmentStage.OPEN:
        return redirect(_address(number))
    form = CancelForm(request.POST or None)
    act = partial(services.cancel_shipment, shipment_id=shipment.pk)
    done, status = attempt_scan(request, form, act)
    if done is not None:
        words = _(
            "Shipment %(shipment)s is cancelled. Its boxes are ready to go again."
        )
        to = reverse("dispatch:shipments")
        return say_and_go(request, words % vars(done), to)
    context = {"form": form, "shipment": shipment, "boxes": queries.on_board(shipment)}
    return render(
        request, "dispatch/shipments/shipment_cancel.html", context, status=status
    )


def _address(number: str) -> str:
    return reverse("dispatch:shipment-detail", args=[number])


def _after_scan(
    request: LotwardRequest,
    shipment: Shipment,
    form: KeyedForm,
    done: services.Scanned | services.PalletScanned | None,
    *,
    said: Said,
    status: int,
) -> HttpResponse:
    """Answer a box on or off: htmx stays on the page, a plain post goes back to it."""
    if done is None:
        return _show(request, shipment, wrong=form, status=status)
    if wants_fragment(request):
        return _show(request, shipment, said=said)
    say_of_scan(request, said)
    return redirect(_address(shipment.number))


def _show(
    request: LotwardRequest,
    shipment: Shipment,
    *,
    said: Said | None = None,
    wrong: KeyedForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """Show a shipment as it is now; somebody else may have changed it meanwhile."""
    shipment = queries.with_figures(Q(pk=shipment.pk)).get()
    is_open = shipment.stage == ShipmentStage.OPEN
    reach = reach_of(told_holds()) if is_open else Reach()
    today = clock.today()
    boxes = queries.on_board(shipment, reach, today)
    said = said or said_of_scan(request)
    keyed = [(box, new_op_key()) for box in boxes]
    context: dict[str, Any] = {
        "shipment": shipment,
        "boxes": keyed,
        "sizes": by_size(boxes),
        "pallets": [(*row, new_op_key()) for row in by_pallet(boxes)],
        "alone": sum(not box.pallet for box in boxes),
        "said": said.words,
        "besides": said.besides,
        "stale": stale_now(shipment),
        "wrong": wrong,
    }
    if is_open:
        ready = queries.ready_to_go(today, reach)
        fetch = _fetch_list(shipment, reach)
        context |= {
            "fetch": fetch,
            "ticked": fetch.ticked(boxes),
            "asked": [(each, TIERS[each.asked.tier]) for each in fetch.wanted],
            "ready": ready,
            "ready_boxes": sum(kind.boxes for kind in ready),
            "held": [(box, key) for box, key in keyed if box.comes_off],
            "scan_key": new_op_key(),
        }
    return render_part(
        request,
        "dispatch/shipments/shipment_detail",
        "_shipment",
        context,
        status=status,
    )


@allowed("kitting.see_work")
def shipment_held(request: LotwardRequest, number: str) -> HttpResponse:
    """Show what must come off an open shipment, if it is not what the page shows."""
    shipment = get_or_404(Shipment, number=number)
    held: list[OnBoard] = []
    if shipment.stage == ShipmentStage.OPEN:
        boxes = queries.on_board(shipment, reach_of(told_holds()), clock.today())
        held = [box for box in boxes if box.comes_off]
    seen = request.GET.get("seen", "")
    if seen == str(len(held)):
        return HttpResponse(status=NOTHING_NEW)
    context = {
        "shipment": shipment,
        "held": [(box, new_op_key()) for box in held],
        "news": seen.isdecimal() and len(held) > int(seen[:9]),
    }
    return render(request, "dispatch/shipments/_shipment_held.html", context)


@allowed("kitting.print_labels", "GET", "POST")
def shipment_labels(request: LotwardRequest, number: str) -> HttpResponse:
    """Print the labels of a shipment, of all its boxes.

    ``?stale=1`` those that changed since, ``?alone=1`` those of boxes on no pallet,
    ``?pallets=1`` those of pallets that lack one.
    """
    shipment = get_or_404(Shipment, number=number)
    labelled, numbers = SHIPMENTS, numbers_of(shipment, alone="alone" in request.GET)
    if "pallets" in request.GET:
        labelled, numbers = PALLETS, labels_lacking(shipment)[1]
    if "stale" in request.GET:
        stale = set(stale_labels(shipment))
        numbers = [one for one in numbers if one in stale]
    if not numbers and request.method == "GET":
        raise Http404("No label of this shipment is to be printed.")
    back = reverse("dispatch:shipment-detail", args=[number])
    return print_page(request, labelled, numbers, back=back)
