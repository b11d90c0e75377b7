"""Recall drills: begun, listed against the clock, called, ended."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.drills import queries, services
from dispatch.drills.forms import DrillCallForm, DrillEndForm, DrillForm
from dispatch.models import Consignee, Drill
from dispatch.notices.queries.whom import Whom
from kitting.web.acting import act_page
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[queries.Told]] = [
    Column("begun", "drill.operation.at"),
    Column("lot", "drill.lot.number"),
    Column("seconds_to_list", "seconds"),
    Column("per_cent_located", "share"),
]


@allowed("kitting.recall")
def drills(request: LotwardRequest) -> HttpResponseBase:
    """Every drill: how long it took to say who has a lot, and of how much."""
    rows = [queries.Told(drill) for drill in queries.drills()]
    if file := file_response(request, "drills", COLUMNS, rows):
        return file
    return render(request, "dispatch/drills/drills.html", {"rows": rows})


@allowed("kitting.place_holds", "GET", "POST")
def drill_new(request: LotwardRequest) -> HttpResponse:
    """Begin a drill."""
    return act_page(
        request,
        "dispatch/drills/drill_new",
        DrillForm(request.POST or None),
        services.begin_drill,
        said=_("The clock runs. Who has lot %(lot)s?"),
        to=lambda done: _drill_address(done.drill_id),
        back=reverse("dispatch:drills"),
        act=_("Draw a lot and start the clock"),
    )


def _drill_address(pk: int) -> str:
    return reverse("dispatch:drill-detail", args=[pk])


@allowed("kitting.recall")
def drill_detail(request: LotwardRequest, pk: int) -> HttpResponse:
    """One drill: its lot, its clock, whom it calls."""
    drill = get_or_404(queries.drills(), pk=pk)
    context = {
        "told": queries.Told(drill),
        "drill": drill,
        "called": queries.called(drill) if drill.calling else [],
        "form": KeyedForm(),
    }
    return render(request, "dispatch/drills/drill_detail.html", context)


@allowed("kitting.recall", "GET", "POST")
def drill_list(request: LotwardRequest, pk: int) -> HttpResponse:
    """Say that the list of a drill is complete."""
    drill = get_or_404(Drill, pk=pk)
    return act_page(
        request,
        "dispatch/drills/drill_list",
        KeyedForm(request.POST or None),
        partial(services.list_drill, drill_id=drill.pk),
        said=_("The list is complete."),
        to=_drill_address(pk),
        act=_("The list is complete"),
        drill=drill,
    )


@allowed("kitting.recall", "GET", "POST")
def drill_call(request: LotwardRequest, pk: int, code: str) -> HttpResponse:
    """Note a call in a drill."""
    drill = get_or_404(Drill, pk=pk, calling=True)
    whom = get_or_404(Consignee, code=code)
    return act_page(
        request,
        "dispatch/drills/drill_call",
        DrillCallForm(request.POST or None),
        partial(services.note_drill_call, drill_id=drill.pk, code=code),
        said=_("The call to %(name)s is on record."),
        to=_drill_address(pk),
        act=_("Keep the call"),
        drill=drill,
        whom=Whom(whom, ()),
    )


@allowed("kitting.place_holds", "GET", "POST")
def drill_end(request: LotwardRequest, pk: int) -> HttpResponse:
    """End a drill."""
    drill = get_or_404(Drill, pk=pk)
    return act_page(
        request,
        "dispatch/drills/drill_end",
        DrillEndForm(request.POST or None),
        partial(services.end_drill, drill_id=drill.pk),
        said=_("The drill is over."),
        to=_drill_address(pk),
        act=_("End the drill"),
        drill=drill,
    )
