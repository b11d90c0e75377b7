"""Shipments: begun, filled scan by scan, sent whole or cancelled, and their labels."""

from __future__ import annotations

from collections.abc import Callable, Container
from functools import partial
from typing import Any

from django.db.models import Q
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django_htmx.http import reswap

from dispatch.consignees.queries import points_at
from dispatch.models import Pallet, Shipment
from dispatch.pallets.forms import BoxScanForm, TakeOffForm
from dispatch.pallets.labels import PALLETS
from dispatch.pallets.queries.pallets import pallet_named, scanned, stays
from dispatch.requests.queries.promises import open_promises
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
from dispatch.shipments.queries.fetch import (
    Came,
    FetchList,
    came,
    fetch_list,
    mark_of,
)
from dispatch.shipments.queries.shipments import OnBoard, by_pallet, by_size
from dispatch.shipments.words import CAME
from kitting.domain.stages import ShipmentStage
from kitting.ledger import clock
from kitting.ledger.operations import Sign
from kitting.ledger.reach import reach_of, standing_reach
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
_WITH_WHOM = Shipment.objects.select_related("consignee")


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
    shipment = get_or_404(_WITH_WHOM, number=number)
    form = BoxScanForm(request.POST)

    def load(sign: Sign, scan: str) -> services.Scanned | services.PalletScanned:
        found, of = scanned(scan), shipment.pk
        if isinstance(found, Pallet):
            return services.load_pallet(shipment_id=of, pallet_id=found.pk, sign=sign)
        return services.load_box(shipment_id=of, box_id=found.pk, sign=sign)

    done, status = attempt_scan(request, form, load)
    if isinstance(done, services.PalletScanned):
        say = partial(_said_of_pallet, done)
        return _after_scan(request, shipment, say, done.pallet)
    if done is not None:
        listed = request.POST.get("listed", "").split()
        say = partial(_said_of_box, done.box, listed)
        return _after_scan(request, shipment, say, done.box)
    return _show(request, shipment, wrong=form, status=status)


def _said_of_box(
    box: str, listed: Container[str], moved: list[OnBoard], to: FetchList
) -> Said:
    """Say that a box is on, and whether it was the one to bring."""
    found = came(moved[0], listed, to) if moved else Came("")
    return Said(CAME[found.code] % {**vars(found), "box": box}, found.code != "")


def _said_of_pallet(
    done: services.PalletScanned, moved: list[OnBoard], to: FetchList
) -> Said:
    """Say that a pallet is on, and how many of its boxes nobody asked for."""
    more = sum(not box.request for box in moved) if to.wanted else 0
    named = {"pallet": done.pallet, "boxes": amount(done.its, "box"), "more": more}
    if not more:
        words = _("Pallet %(pallet)s is on the shipment with %(boxes)s.")
        return Said(words % named)
    words = _(
        "Pallet %(pallet)s is on the shipment with %(boxes)s, %(more)s more than they"
        " asked for. If that is not meant, take it off."
    )
    return Said(words % named, besides=True)


@allowed("kitting.send_boxes", "POST")
def shipment_take_off(request: LotwardRequest, number: str) -> HttpResponse:
    """Take a box off the shipment again."""
    shipment = get_or_404(_WITH_WHOM, number=number)
    form = TakeOffForm(request.POST)
    done, status = attempt_scan(
        request,
        form,
        lambda sign, box: services.take_off_box(
            shipment_id=shipment.pk, box_id=box, sign=sign
        ),
    )
    if done is None:
        return _show(request, shipment, wrong=form, status=status)
    said = Said(_said_off(done, form.cleaned_data["box"]))
    moved = done.pallet or done.box  # the pallet has another count
    return _after_scan(request, shipment, lambda _came, _to: said, moved)


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
    if done is None:
        return _show(request, shipment, wrong=form, status=status)
    words = _("Pallet %(pallet)s is off the shipment, as it was before. Put it away.")
    said = Said(words % vars(done))
    return _after_scan(request, shipment, lambda _came, _to: said, done.pallet)


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
    on = {box.box: box.pallet for box in boxes}
    context = {
        "form": form,
        "shipment": shipment,
        "sizes": by_size(boxes),
        "held": [(box, new_op_key()) for box in boxes if box.comes_off],
        "stale": stale_now(shipment, on),
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
    say: Callable[[list[OnBoard], FetchList], Said],
    moved: str,
) -> HttpResponse:
    """Answer a box or pallet on or off: htmx stays on the page, a plain post goes back.

    A page that showed all the other boxes as they are gets what the scan changed.
    """
    now = _open_now(shipment, moved)
    moved_on = [box for box in now["on_board"] if moved in (box.box, box.pallet)]
    said = say(moved_on, now["fetch"])
    if not wants_fragment(request):
        say_of_scan(request, said)
        return redirect(_address(shipment.number))
    others = [box for box in now["on_board"] if box not in moved_on]
    gone = () if moved_on else (moved,)
    if request.POST.get("seen") not in queries.marks_of(others, gone):
        return _show(request, shipment, said=said)
    fetched = [(place, row) for place, row in now["fetched"] if row.box == moved]
    bring = [*now["bring"], *((place, [row]) for place, row in fetched)]
    listed = mark_of(bring) == request.POST.get("bring")
    context = {
        **now,
        "boxes": [(box, new_op_key()) for box in moved_on],
        "gone": moved,
        "fetched": fetched,
        "bring": None if listed else now["bring"],
        "said": said.words,
        "besides": said.besides,
    }
    part = "dispatch/shipments/_shipment_changed.html"
    return reswap(render(request, part, context), "none")


def _open_now(shipment: Shipment, moved: str = "") -> dict[str, Any]:
    """What the page of an open shipment shows besides its boxes, one by one."""
    reach, today = reach_of(told_holds()), clock.today()
    boxes = queries.on_board(shipment, reach, today, moved)
    asked, promises = open_for(shipment), open_promises()
    fetch = fetch_list(shipment, asked, reach, today, promises)
    ready = queries.ready_to_go(today, reach, promises)
    return {
        **_figures(shipment, boxes),
        "fetch": fetch,
        **_walked(fetch, boxes),
        "asked": [(each, TIERS[each.asked.tier]) for each in fetch.wanted],
        "ready": ready,
        "held": [(box, new_op_key()) for box in boxes if box.comes_off],
        "mark": queries.marks_of(boxes)[0],
        "scan_key": new_op_key(),
    }


def _walked(fetch: FetchList, boxes: list[OnBoard]) -> dict[str, Any]:
    """What is to be brought by place, and what was brought from where, newest first."""
    ticked = fetch.ticked(boxes)
    left = [(place, [row for row in rows if not row.on]) for place, rows in ticked]
    bring = [(place, rows) for place, rows in left if rows]
    fetched = [(place, row) for place, rows in ticked for row in rows if row.on]
    names = [name for box in boxes for name in (box.box, box.pallet)]
    return {
        "bring": bring,
        "bring_mark": mark_of(bring),
        "fetched": sorted(fetched, key=lambda each: names.index(each[1].box)),
    }


def _figures(shipment: Shipment, boxes: list[OnBoard]) -> dict[str, Any]:
    return {
        "shipment": shipment,
        "on_board": boxes,
        "on": len(boxes),
        "sets_on": sum(box.sets for box in boxes),
        "sizes": by_size(boxes),
        "pallets": [(*row, new_op_key()) for row in by_pallet(boxes)],
        "alone": sum(not box.pallet for box in boxes),
        "stale": stale_now(shipment, {box.box: box.pallet for box in boxes}),
    }


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
    if shipment.stage == ShipmentStage.OPEN:
        context = _open_now(shipment)
    else:
        context = _figures(shipment, queries.on_board(shipment))
    said = said or said_of_scan(request)
    return render_part(
        request,
        "dispatch/shipments/shipment_detail",
        "_shipment",
        {
            **context,
            "boxes": [(box, new_op_key()) for box in context["on_board"]],
            "said": said.words,
            "besides": said.besides,
            "wrong": wrong,
        },
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
