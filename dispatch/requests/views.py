"""Requests: taken by telephone while it rings, changed, cancelled, seen with what would do."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.consignees.queries import points_at, points_of
from dispatch.domain.needs import Asked, RequestStage
from dispatch.domain.requestfile import HEADINGS, TOLD
from dispatch.models import Request
from dispatch.requests import services
from dispatch.requests.forms import (
    MixForm,
    RequestCancelForm,
    RequestChangeForm,
    RequestFilterForm,
    RequestForm,
)
from dispatch.requests.queries import requests as queries
from dispatch.requests.queries.promises import open_promises
from dispatch.requests.words import TIERS, WAYS
from kitting.domain.cells import DateOrder
from kitting.ledger import clock
from kitting.ledger.coded import mark_of
from kitting.ledger.reach import standing_reach
from kitting.web.acting import act_page
from kitting.web.figures import amount, pieces
from kitting.web.files import Filed, ShownPlan, ShownRow, file_page
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    new_op_key,
    render_part,
)
from kitting.web.tables import Column, file_response

ROWS = 100

_FROM = {
    "request": "number",
    "consignee": "consignee.code",
    "product": "product.code",
    "ward": "point",
    "name": "consignee.name",
}
COLUMNS: list[Column[Any]] = [
    Column(name, _FROM.get(name, name.replace(" ", "_")))
    for name in (*HEADINGS.names, *TOLD)
]
"""What a file has; without the numbers of requests it can be taken in again."""


FIELDS = "dispatch/requests/_request_fields.html"


@allowed("kitting.see_work")
def requests(request: LotwardRequest) -> HttpResponseBase:
    """Who asked for what: the open requests, the neediest first."""
    form = RequestFilterForm(request.GET)
    chosen = form.chosen()
    found = queries.filtered(chosen)
    rows = list(found)
    if file := file_response(request, "requests", COLUMNS, rows):
        return file
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "filtered": bool(chosen),
        "page": page,
        "rows": [(row, TIERS[row.tier], queries.is_late(row)) for row in page],
        "sums": queries.totals(rows),
    }
    return render(request, "dispatch/requests/requests.html", context)


@allowed("kitting.send_boxes", "GET", "POST")
def request_new(request: LotwardRequest) -> HttpResponse:
    """Take a request down, with the boxes that would serve it beside it."""
    whom = request.POST.get("consignee", request.GET.get("consignee", ""))
    form = RequestForm(request.POST or None, initial={"consignee": whom})
    return act_page(
        request,
        "dispatch/requests/request_set",
        form,
        services.take_request,
        said=_("Request %(request)s of %(consignee)s is taken."),
        to=lambda done: reverse("dispatch:request-detail", args=[done.request]),
        act=_("Take the request"),
        fields=FIELDS,
        back=reverse("dispatch:requests"),
        around=partial(_would, request.POST),
        points=points_at(whom),
    )


@allowed("kitting.send_boxes", "GET", "POST")
def request_file(request: LotwardRequest) -> HttpResponseBase:
    """Take down the requests of a file."""
    return file_page(
        request,
        Filed(
            page="dispatch/requests/request_file",
            name="requests",
            headings=HEADINGS,
            plan=_plan,
            act=services.take_in_requests,
            said=_said,
            to=reverse("dispatch:requests"),
        ),
    )


def _plan(data: bytes, order: DateOrder | None) -> ShownPlan:
    plan = services.plan_requests(data=data, date_order=order, now=clock.now())
    rows = [_shown(line, row) for line, row in plan.rows]
    return ShownPlan(plan.problems, plan.questions, plan.before, rows)


def _shown(line: int, row: Request) -> ShownRow:
    """Say all that a row asks for: what was read wrongly is seen before it is taken."""
    name = ", ".join(filter(None, (row.consignee.name, row.point, row.reference)))
    day = _("by %s") % row.needed_by.isoformat() if row.needed_by else ""
    asked = (amount(row.sets, "set"), str(row.product), str(TIERS[row.tier]), day)
    return ShownRow(line, name, ", ".join(filter(None, asked)))


def _said(done: services.TakenRequests) -> str:
    count = len(done.requests)
    words = ngettext(
        "%(count)s request is taken.", "%(count)s requests are taken.", count
    )
    return words % {"count": pieces(count)}


@allowed("kitting.see_work")
def request_mix(request: LotwardRequest) -> HttpResponse:
    """Which boxes would serve what is being typed; nothing while it is no number."""
    return render(request, "dispatch/requests/_request_mix.html", _would(request.GET))


@allowed("kitting.see_work")
def request_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """One request: what was asked, what it was given, and which boxes would do."""
    found = queries.with_figures(Request.objects.all())
    asked = get_or_404(found, number=number)
    is_open = asked.stage == RequestStage.OPEN
    reach, promises = standing_reach(), open_promises([asked.product_id])
    would = queries.left_of(asked, reach, promises) if is_open else None
    lacking = is_open and asked.left > 0  # type: ignore[attr-defined]
    context = {
        "asked": asked,
        "lacking": lacking,
        "tier": TIERS[asked.tier],
        "way": WAYS[asked.way],
        "would": would,
        "promised": queries.promised_to(asked, reach, promises),
        "is_open": is_open,
        "can_change": asked.stage != RequestStage.CANCELLED,
        "begin_key": new_op_key(),
        "to_take_off": queries.to_take_off(asked),
        "open_already": queries.open_already(asked) if lacking else (),
        "shipments": queries.shipments_of(asked),
    }
    return render_part(request, "dispatch/requests/request_detail", "", context)


@allowed("kitting.send_boxes", "GET", "POST")
def request_change(request: LotwardRequest, number: str) -> HttpResponse:
    """Change what was asked for, with a reason."""
    both = Request.objects.select_related("consignee", "product")
    asked = get_or_404(both, number=number)
    if request.method == "GET" and asked.stage == RequestStage.CANCELLED:
        return redirect("dispatch:request-detail", number)
    names = Asked.__dataclass_fields__
    on_record = {name: getattr(asked, name) for name in names}
    form = RequestChangeForm(
        request.POST or None, initial={"seen": mark_of(asked), **on_record}
    )
    sets = {"product": asked.product_id, "sets": request.POST.get("sets", asked.sets)}
    return act_page(
        request,
        "dispatch/requests/request_set",
        form,
        partial(services.change_request, number=number),
        said=_("Request %(request)s is changed."),
        to=reverse("dispatch:request-detail", args=[number]),
        act=_("Change the request"),
        fields=FIELDS,
        asked=asked,
        points=points_of(asked.consignee),
        around=partial(_would, sets),
    )


@allowed("kitting.send_boxes", "GET", "POST")
def request_cancel(request: LotwardRequest, number: str) -> HttpResponse:
    """Cancel what is left of a request, with a reason."""
    found = queries.with_figures(Request.objects.all())
    asked = get_or_404(found, number=number)
    if request.method == "GET" and asked.stage != RequestStage.OPEN:
        return redirect("dispatch:request-detail", number)
    on_record = Request.objects.get(pk=asked.pk)
    form = RequestCancelForm(request.POST or None, initial={"seen": mark_of(on_record)})
    return act_page(
        request,
        "dispatch/requests/request_cancel",
        form,
        partial(services.cancel_request, number=number),
        said=_("Request %(request)s is cancelled. What was sent stays on record."),
        to=reverse("dispatch:request-detail", args=[number]),
        act=_("Cancel the request"),
        stop=True,
        asked=asked,
    )


def _would(data: Any) -> dict[str, Any]:
    form = MixForm(data)
    if not form.is_valid():
        return {"would": None}
    said = form.cleaned_data
    product = said["product"].pk
    there = standing_reach(), open_promises([product])
    return {"would": queries.would_serve(said["sets"], product, *there)}
