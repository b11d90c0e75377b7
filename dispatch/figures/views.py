"""Figures of a period: who asked for and got what, day by day, and how long stock lasts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _

from dispatch.domain.figures import Lasting, in_tenths
from dispatch.figures import queries
from dispatch.figures.forms import FiguresForm
from dispatch.requests.words import TIERS
from kitting.domain.axis import axis_to
from kitting.ledger import clock
from kitting.ledger.reach import standing_reach
from kitting.models import Product
from kitting.web.http import LotwardRequest, allowed
from kitting.web.tables import Column, file_response

PAGE = "dispatch/figures/figures.html"

COLUMNS: dict[str, list[Column[Any]]] = {
    "consignees": [
        Column("consignee_code", "code"),
        Column("consignee", "name"),
        Column("tier", "tier"),
        Column("asked", "asked"),
        Column("promised", "promised"),
        Column("sent", "sent"),
        Column("delivered", "delivered"),
    ],
    "days": [
        Column("day", "day"),
        Column("packed", "packed"),
        Column("planned", "planned"),
        Column("sent", "sent"),
    ],
    "cover": [
        Column("what", "what"),
        Column("sets", "sets"),
        Column("days", "days"),
    ],
}
"""What the file of each table has."""


@dataclass(frozen=True)
class Cover:
    """A row of what is there."""

    what: str
    shown: str
    """How it is drawn; empty for the sum."""
    sets: int
    days: str
    """How long they last, in days; empty where nothing was sent to divide by."""


@allowed("kitting.see_work")
def figures(request: LotwardRequest) -> HttpResponseBase:
    """Pictures of a period, each with its table; product and days stand in the address."""
    today = clock.today()
    products = list(Product.objects.order_by("name"))
    form = FiguresForm(request.GET, today=today, products=products)
    if not products or not form.is_valid():
        context = {"form": form, "products": products}
        return render(request, PAGE, context, status=422 if products else 200)
    period = form.period
    sent = queries.sent_in(period)
    shares = queries.shares_of(period, sent)
    days = queries.days_of(period, sent)
    lasting = queries.lasting_of(
        period, sent, now=clock.now(), today=today, reach=standing_reach()
    )
    cover = _cover(lasting)
    tables: dict[str, Sequence[Any]] = {
        "consignees": shares,
        "days": days,
        "cover": cover,
    }
    table = request.GET.get("table", "")
    table = table if table in tables else "consignees"
    if file := file_response(request, table, COLUMNS[table], tables[table]):
        return file
    most = max((max(x.asked, x.promised, x.sent) for x in shares), default=0)
    context = {
        "form": form,
        "products": products,
        "period": period,
        "shares": [(each, TIERS.get(each.tier or 0, "")) for each in shares],
        "axis": axis_to(most),
        "sums": {
            name: sum(getattr(each, name) for each in shares)
            for name in ("asked", "promised", "sent", "delivered")
        },
        "days": days,
        "packed": sum(each.packed for each in days),
        "planned": sum(each.planned or 0 for each in days),
        "lasting": lasting,
        "a_day": in_tenths(lasting.a_day),
        "cover": cover,
    }
    return render(request, PAGE, context)


def _cover(lasting: Lasting) -> list[Cover]:
    """What is there, and together, each with the days that it lasts."""
    said = (
        (_("Ready to go"), "ready", lasting.ready),
        (_("Can be packed now"), "packable", lasting.packable),
        (_("Total"), "", lasting.there),
    )
    rows = []
    for what, shown, sets in said:
        days = lasting.lasts(sets)
        rows.append(Cover(what, shown, sets, "" if days is None else in_tenths(days)))
    return rows
