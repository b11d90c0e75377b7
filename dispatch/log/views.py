"""The shipping log: what was sent, to whom, when, by whom, with which lots."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.core.paginator import Paginator
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from dispatch.log import queries
from dispatch.log.forms import LogForm
from dispatch.log.queries import LogRow
from kitting.web.http import LotwardRequest, allowed
from kitting.web.tables import Column, file_response

ROWS = 50

COLUMNS: list[Column[LogRow]] = [
    Column("shipment", "number"),
    Column("sent_at", "sent_at"),
    Column("consignee_code", "code"),
    Column("consignee", "consignee"),
    Column("reference", "reference"),
    Column("boxes", "boxes"),
    Column("sets", "sets"),
    Column("lots", lambda row: " ".join(lot.number for lot in row.lots)),
    Column("sent_by", "sent_by"),
    Column("stage", "stage"),
]


@allowed("kitting.see_work")
def log(request: LotwardRequest) -> HttpResponseBase:
    """Every shipment that was sent, newest first; the filters stand in the address."""
    form = LogForm(request.GET)
    if not form.is_valid():
        return render(request, "dispatch/log/log.html", {"form": form}, status=422)
    found = queries.sent_shipments(form.filters())
    if file := file_response(
        request, "shipping-log", COLUMNS, queries.every_row(found)
    ):
        return file
    sums = queries.totals(found)
    pages = Paginator(found, ROWS)
    pages.count = sums.shipments  # counted already, together with the rest
    page = pages.get_page(request.GET.get("page"))
    context: dict[str, Any] = {
        "form": form,
        "filtered": any(form.cleaned_data.values()),
        "when": _when(form.cleaned_data["from"], form.cleaned_data["to"]),
        "sums": sums,
        "page": page,
        "rows": queries.rows_of(list(page)),
    }
    return render(request, "dispatch/log/log.html", context)


def _when(first: date | None, last: date | None) -> str:
    """Say a period as in "Sent in November 2026"."""
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
