"""How sources have been doing, and the curve of a plan."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.http.response import HttpResponseBase

from kitting.checking.forms import CurveForm, SourceFilterForm
from kitting.checking.queries.checks import percent
from kitting.checking.queries.inspection import curve_lines, source_lines, source_page
from kitting.domain import sampling
from kitting.models import Check
from kitting.web.acting import OK, UNFIT
from kitting.web.http import LotwardRequest, allowed, render_part
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[Check]] = [
    Column("lot", "lot.number"),
    Column("made on", "lot.made_on"),
    Column("checked", "operation.at"),
    Column("severity", lambda check: check.severity or ""),
    Column("level", lambda check: check.level or ""),
    Column("pieces", "lot_pieces"),
    Column("sample", "sample_size"),
    Column("bad pieces", "found"),
    Column("verdict", "verdict"),
    Column("reason", "reason"),
]


@allowed("kitting.see_work")
def inspection(request: LotwardRequest) -> HttpResponseBase:
    """All sources; or one part from one source, as the address says."""
    form = SourceFilterForm(request.GET)
    chosen = form.chosen()
    if "part" not in chosen or "source" not in chosen:
        lines = source_lines()
        return render_part(
            request,
            "kitting/checking/inspection",
            "_inspection_sources",
            {
                "lines": lines,
                "tightened": sum(line.tightened for line in lines),
                "reduced": sum(line.reduced for line in lines),
                "stopped": sum(line.stopped for line in lines),
            },
        )
    page = source_page(chosen["part"], chosen["source"], chosen)
    if file := file_response(request, "inspection", COLUMNS, page.checks):
        return file
    return render_part(
        request,
        "kitting/checking/inspection_source",
        "_inspection_source",
        {
            "of": chosen["part"],
            "source": chosen["source"],
            "since": chosen.get("since"),
            "until": chosen.get("until"),
            "form": form,
            "page": page,
            "address": urlencode(
                {"part": chosen["part"].code, "source": chosen["source"]}
            ),
        },
    )


@allowed("kitting.see_work")
def curve(request: LotwardRequest) -> HttpResponse:
    """The operating characteristic of a plan, with the risks read off it."""
    asked = bool(request.GET)
    fields = CurveForm.base_fields
    defaults = {name: field.initial for name, field in fields.items()}
    form = CurveForm(request.GET if asked else defaults)
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        data = form.cleaned_data
        plan = sampling.plan_for(
            data["pieces"],
            data["level"],
            percent(int(data["aql"])),
            severity=data["severity"],
        )
        found = sampling.operating_characteristic(plan)
        context |= {"plan": plan, "curve": found, "lines": curve_lines(plan, found)}
    return render_part(
        request,
        "kitting/checking/inspection_curve",
        "_inspection_curve",
        context,
        status=OK if form.is_valid() else UNFIT,
    )
