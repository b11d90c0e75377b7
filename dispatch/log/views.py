"""The shipping log: what was sent, to whom, when, by whom, with which lots."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from operator import itemgetter
from typing import Any

from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext as _

from dispatch.log import queries, services
from dispatch.log.forms import KeepViewForm, LogForm
from dispatch.models import Consignee, LogView
from kitting.ledger import clock
from kitting.web.acting import act_page, done_before, say_and_go
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed
from kitting.web.keyset import page_of
from kitting.web.shapes import stage_word
from kitting.web.tables import Column, file_response

ROWS = 50
MOST_ON_PAPER = 1_000
"""Rows of a page that is printed; a browser does not lay out many more."""

FILE = {
    "shipment": "number",
    "sent_at": "sent_at",
    "consignee_code": "consignee",
    "consignee": "consignee",
    "reference": "reference",
    "haulier": "haulier",
    "driver": "driver",
    "vehicle": "vehicle",
    "seal": "seal",
    "boxes": "boxes",
    "sets": "sets",
    "lots": "lots",
    "sent_by": "sent_by",
    "stage": "stage",
}
"""What a file has of each shipment: bare values, for it may have a hundred thousand."""


def _columns() -> list[Column[Any]]:
    """Make the columns; who the consignees are is read by itself, at the first row."""
    said = Consignee.objects.values_list("pk", "code", "name")
    known: Any = SimpleLazyObject(lambda: {pk: names for pk, *names in said})
    whom = list(FILE).index("consignee")
    beside = {
        "consignee_code": lambda row: known[row[whom]][0],
        "consignee": lambda row: known[row[whom]][1],
    }
    return [
        Column(name, beside.get(name) or itemgetter(nth))
        for nth, name in enumerate(FILE)
    ]


@allowed("kitting.see_work")
def log(request: LotwardRequest) -> HttpResponseBase:
    """Every shipment that was sent, newest first; the filters stand in the address."""
    form = LogForm(request.GET)
    if not form.is_valid():
        return render(request, "dispatch/log/log.html", {"form": form}, status=422)
    filters = form.filters()
    found = queries.sent_shipments(filters)
    bare = found.values_list(*FILE.values())
    if file := file_response(request, "shipping-log", _columns(), bare):
        return file
    paper = request.GET.get("as") == "print"
    at_an_end = not (request.GET.get("older") or request.GET.get("newer"))
    found, sums = queries.with_totals(found, filters, at_an_end=at_an_end)
    page = page_of(found, queries.ORDER, request.GET, MOST_ON_PAPER if paper else ROWS)
    views = queries.views(form.asked)
    context: dict[str, Any] = {
        "form": form,
        "filtered": any(form.cleaned_data.values()),
        "when": _when(form),
        "asked": _asked(form),
        "sums": sums,
        "page": page,
        "rows": queries.rows_of(page.rows),
        "paper": paper,
        "views": views,
        "to_keep": "" if any(shown for _view, shown in views) else form.asked,
        "now": clock.now(),
    }
    return render(request, "dispatch/log/log.html", context)


@allowed("kitting.send_boxes", "GET", "POST")
def log_keep(request: LotwardRequest) -> HttpResponse:
    """Keep what is asked of the log under a name."""
    asked = request.POST.get("asked", request.GET.urlencode())
    return act_page(
        request,
        "dispatch/log/log_keep",
        KeepViewForm(request.POST or None, initial={"asked": asked}),
        services.keep_view,
        said=_("“%(name)s” is kept, for everybody."),
        to=lambda done: f"{reverse('dispatch:log')}?{done.asked}",
        act=_("Keep the view"),
        back=f"{reverse('dispatch:log')}?{asked}",
    )


@allowed("kitting.send_boxes", "GET", "POST")
def log_drop(request: LotwardRequest, view_id: int) -> HttpResponse:
    """Drop a view, for everybody."""
    form = KeyedForm(request.POST or None)
    view = LogView.objects.select_related("kept").filter(pk=view_id).first()
    to = reverse("dispatch:log")
    if view is None:
        if done_before(request, form, "drop_view"):
            return say_and_go(request, "", to)
        raise Http404("There is no such view.")
    return act_page(
        request,
        "dispatch/log/log_drop",
        form,
        partial(services.drop_view, view_id=view_id),
        said=_("“%(name)s” is dropped."),
        to=to,
        act=_("Drop the view"),
        stop=True,
        view=view,
    )


def _asked(form: LogForm) -> list[tuple[str, object, str]]:
    """Say what else is asked for: words, and a number with the page that it leads to."""
    data = form.cleaned_data
    said: list[tuple[str, object, str]] = []
    if product := data["product"]:
        said.append((_("with %(name)s") % {"name": product.name}, "", ""))
    if data["stage"]:
        said.append(
            (_("stage %(stage)s") % {"stage": stage_word(data["stage"])}, "", "")
        )
    if data["taken"]:
        said.append((_("taken by “%(name)s”") % {"name": data["taken"]}, "", ""))
    if lot := data["lot"]:
        to = reverse("kitting:lot-detail", args=[lot.number])
        said.append((_("carrying lot"), lot.number, to))
    if form.box:
        to = reverse("kitting:box-detail", args=[str(form.box)])
        said.append((_("carrying box"), form.box, to))
    elif data["q"]:
        said.append((_("found by “%(words)s”") % {"words": data["q"]}, "", ""))
    return said


def _when(form: LogForm) -> str:
    """Say when and to whom, as in "Sent in November 2026 to Lodebridge Hospice"."""
    when = _period(form.cleaned_data["from"], form.cleaned_data["to"])
    whom = form.cleaned_data["consignee"]
    if whom is None:
        return when
    return _("%(when)s to %(name)s") % {"when": when, "name": whom.name}


def _period(first: date | None, last: date | None) -> str:
    if first is None and last is None:
        return _("Sent so far")
    if first is None:
        return _("Sent up to %(last)s") % {"last": last}
    if last is None:
        return _("Sent since %(first)s") % {"first": first}
    if first == last:
        return _("Sent on %(day)s") % {"day": first}
    if first.day == 1 and last == _month_end(first):
        return _("Sent in %(month)s") % {"month": date_format(first, "F Y")}
    return _("Sent from %(first)s to %(last)s") % {"first": first, "last": last}


def _month_end(day: date) -> date:
    following = date(day.year + day.month // 12, day.month % 12 + 1, 1)
    return following - timedelta(days=1)
