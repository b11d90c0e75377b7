"""How sources have been doing, the curve of a plan; sources that ease, or begin again."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.checking.forms import (
    ClassForm,
    CurveForm,
    ReduceForm,
    RestoreForm,
    ResumeForm,
    SourceFilterForm,
)
from kitting.checking.queries.checks import aqls_of, percent
from kitting.checking.queries.inspection import curve_lines, source_lines, source_page
from kitting.checking.queries.switching import standings_of, states_of
from kitting.checking.services import inspection as services
from kitting.checking.services.switching import (
    Switched,
    Target,
    reduce_inspection,
    restore_inspection,
)
from kitting.domain import sampling
from kitting.models import Check, Part
from kitting.web.acting import OK, UNFIT, act_page
from kitting.web.forms import KeyedForm
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


@allowed("kitting.accept_under_concession", "GET", "POST")
def resume(request: LotwardRequest) -> HttpResponse:
    """Let a stopped source deliver a part again."""
    chosen = SourceFilterForm(request.GET).chosen()
    if "part" not in chosen or "source" not in chosen:
        raise Http404("No part and source were named.")
    part: Part = chosen["part"]
    source: str = chosen["source"]
    query = urlencode({"part": part.code, "source": source})
    said = _("%(part)s from %(source)s may be accepted again.")
    return act_page(
        request,
        "kitting/checking/inspection_resume",
        ResumeForm(request.POST or None),
        partial(services.resume_source, part_id=part.pk, source=source),
        said=said,
        named={"part": part.name, "source": source},
        to=f"{reverse('kitting:inspection')}?{query}",
        around=lambda: {"states": states_of(part.pk, source)},
        of=part,
        source=source,
        act=_("Allow the source again"),
    )


@allowed("kitting.accept_under_concession", "GET", "POST")
def reduce(request: LotwardRequest) -> HttpResponse:
    """Begin reduced inspection of a class of a part from a source."""
    return _page(
        request,
        "inspection_reduce",
        ReduceForm(request.POST or None),
        reduce_inspection,
        _("%(part)s from %(source)s is on reduced inspection from its next lot on."),
        act=_("Begin reduced inspection"),
    )


@allowed("kitting.accept_under_concession", "GET", "POST")
def restore(request: LotwardRequest) -> HttpResponse:
    """End reduced inspection of a class of a part from a source."""
    return _page(
        request,
        "inspection_restore",
        RestoreForm(request.POST or None),
        restore_inspection,
        _("%(part)s from %(source)s is on normal inspection from its next lot on."),
        act=_("Back to normal inspection"),
    )


def _page(
    request: LotwardRequest,
    page: str,
    form: KeyedForm,
    service: Callable[..., Switched],
    said: str,
    **context: Any,
) -> HttpResponse:
    chosen = ClassForm(request.GET).chosen()
    if not {"part", "source", "grade"} <= chosen.keys():
        raise Http404("No part, source and class were named.")
    part, source, grade = chosen["part"], chosen["source"], chosen["grade"]
    query = urlencode({"part": part.code, "source": source})
    return act_page(
        request,
        f"kitting/checking/{page}",
        form,
        partial(service, of=Target(part.pk, source, grade)),
        said=said,
        named={"part": part.name, "source": source},
        to=f"{reverse('kitting:inspection')}?{query}",
        around=lambda: {"now": standings_of(part.pk, source, aqls_of(part))[grade]},
        of=part,
        source=source,
        grade=grade,
        **context,
    )
