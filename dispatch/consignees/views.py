"""Pages of consignees: a table, one of them, a new one, a change."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from operator import attrgetter
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.consignees import queries
from dispatch.consignees.forms import (
    ConsigneeChangeForm,
    ConsigneeMergeForm,
    ConsigneeNewForm,
)
from dispatch.consignees.services import consignees as services
from dispatch.consignees.services import files
from dispatch.consignees.services.consignees import KeptConsignee, WhereTo
from dispatch.domain.consigneefile import HEADINGS
from dispatch.models import Consignee
from kitting.domain.cells import DateOrder
from kitting.ledger.coded import mark_of
from kitting.ledger.operations import Sign
from kitting.printing.queries.label_words import called
from kitting.web.acting import act_page
from kitting.web.figures import pieces
from kitting.web.files import Filed, ShownPlan, ShownRow, file_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

_WRITTEN: dict[str, Callable[[Consignee], str]] = {
    "street": lambda row: "; ".join(row.street.splitlines()),
    "points": lambda row: "; ".join(row.points.splitlines()),
    "active": lambda row: "yes" if row.active else "no",
}
CONSIGNEES: list[Column[Consignee]] = [
    Column(name, _WRITTEN.get(name, name.replace(" ", "_"))) for name in HEADINGS.names
]
"""What a file has, which can be taken in again."""
ENTERED = (
    *("name", "street", "postcode", "city", "region", "country", "contact"),
    *("night_contact", "email", "opening", "gln", "points", "language", "active"),
)


@allowed("kitting.see_work")
def consignee_list(request: LotwardRequest) -> HttpResponseBase:
    """Every consignee, or those that are called so."""
    asked = request.GET.get("q", "").strip()
    rows = list(queries.called(asked) if asked else queries.all_consignees())
    if file := file_response(request, "consignees", CONSIGNEES, rows):
        return file
    context = {"rows": rows, "asked": asked}
    return render_part(
        request, "dispatch/consignees/consignees", "_consignee_table", context
    )


@allowed("kitting.see_work")
def consignee_detail(request: LotwardRequest, code: str) -> HttpResponse:
    """One consignee: its address as it is printed, and what looks wrong in it."""
    found = queries.all_consignees().select_related("merged_into")
    consignee = get_or_404(found, code=code)
    context = {
        "consignee": consignee,
        "points": queries.points_of(consignee),
        "merged": consignee.merged.order_by("code"),
        "speaks": called(consignee.language),
        "doubts": [sentence(doubt) for doubt in queries.doubts_of(consignee)],
    }
    return render_part(request, "dispatch/consignees/consignee_detail", "", context)


@allowed("kitting.see_work")
def consignee_points(request: LotwardRequest) -> HttpResponse:
    """The delivery points of the consignee that was chosen, to choose one of."""
    points = queries.points_at(request.GET.get("consignee", ""))
    return render(request, "dispatch/consignees/_points.html", {"points": points})


@allowed("kitting.send_boxes", "GET", "POST")
def consignee_file(request: LotwardRequest) -> HttpResponseBase:
    """Add and change the consignees of a file."""
    return file_page(
        request,
        Filed(
            page="dispatch/consignees/consignee_file",
            name="consignees",
            headings=HEADINGS,
            plan=_plan,
            act=files.take_in_consignees,
            said=_said,
            to=reverse("dispatch:consignees"),
            dated=False,
            mark=attrgetter("mark"),
        ),
    )


def _plan(data: bytes, _order: DateOrder | None) -> ShownPlan:
    plan = files.plan_consignees(data=data)
    rows = [
        ShownRow(each.line, f"{each.row.code} {each.row.name}", _what(each))
        for each in plan.rows
    ]
    return ShownPlan(plan.problems, plan.questions, plan.before, rows, plan.mark)


def _what(entry: files.Entry) -> str:
    if entry.is_new:
        return _("new")
    if not entry.changed:
        return _("nothing changes")
    names = ", ".join(name.replace("_", " ") for name in entry.changed)
    return _("changes: %(names)s") % {"names": names}


def _said(done: files.TakenConsignees) -> str:
    return _("The file is taken in: %(new)s new, %(changed)s changed.") % {
        "new": pieces(len(done.new)),
        "changed": pieces(len(done.changed)),
    }


@allowed("kitting.send_boxes", "GET", "POST")
def consignee_new(request: LotwardRequest) -> HttpResponse:
    """Add a consignee."""

    def add(sign: Sign, code: str, **where: Any) -> KeptConsignee:
        return services.add_consignee(code=code, to=WhereTo(**where), sign=sign)

    form = ConsigneeNewForm(
        request.POST or None, initial={"country": request.workshop.country}
    )
    return act_page(
        request,
        "dispatch/consignees/consignee_set",
        form,
        add,
        said=_("%(name)s is added. Read its address as it is printed."),
        to=lambda done: reverse("dispatch:consignee-detail", args=[done.code]),
        act=_("Add the consignee"),
        back=reverse("dispatch:consignees"),
    )


@allowed("kitting.send_boxes", "GET", "POST")
def consignee_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Give a consignee another name or address."""
    consignee = get_or_404(Consignee, code=code)
    on_record = {name: getattr(consignee, name) for name in ENTERED}

    def change(sign: Sign, seen: str, sure: str, **where: Any) -> KeptConsignee:
        to = WhereTo(**where)
        return services.change_consignee(
            code=code, to=to, seen=seen, sure=sure, sign=sign
        )

    return act_page(
        request,
        "dispatch/consignees/consignee_set",
        ConsigneeChangeForm(
            request.POST or None, initial={"seen": mark_of(consignee), **on_record}
        ),
        change,
        said=_("%(name)s is changed."),
        to=reverse("dispatch:consignee-detail", args=[code]),
        act=_("Change the consignee"),
        consignee=consignee,
    )


@allowed("kitting.send_boxes", "GET", "POST")
def consignee_merge(request: LotwardRequest, code: str) -> HttpResponse:
    """Say that a consignee is another one that is on record as well."""
    consignee = get_or_404(Consignee, code=code)
    return act_page(
        request,
        "dispatch/consignees/consignee_merge",
        ConsigneeMergeForm(request.POST or None),
        partial(services.merge_consignees, code=code),
        said=_("%(name)s is closed, and leads to %(into)s."),
        to=lambda done: reverse("dispatch:consignee-detail", args=[done.into]),
        act=_("Merge the two"),
        stop=True,
        back=reverse("dispatch:consignee-detail", args=[code]),
        consignee=consignee,
        asked=queries.open_requests(consignee),
        loading=queries.open_shipments(consignee),
    )
