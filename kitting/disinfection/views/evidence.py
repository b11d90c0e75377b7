"""Pages of evidence records, and of the largest dose that a part may take."""

from __future__ import annotations

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.disinfection.forms.evidence import DoseForm, EvidenceForm
from kitting.disinfection.queries.evidence import evidence_list
from kitting.disinfection.services import evidence
from kitting.domain.entries import Report
from kitting.models import Evidence, Part
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[Evidence]] = [
    Column("evidence", "code"),
    Column("laboratory", "laboratory"),
    Column("surface", "surface"),
    Column("container", "container"),
    Column("measured", "measured"),
    Column("result", "result"),
    Column("document", "document"),
    Column("date", "on"),
]


@allowed("kitting.see_work")
def evidence_table(request: LotwardRequest) -> HttpResponseBase:
    """All evidence records."""
    records = evidence_list()
    if file := file_response(request, "evidence", COLUMNS, records):
        return file
    return render_part(
        request,
        "kitting/disinfection/evidence",
        "_protocol_evidence",
        {"records": list(records), "table": True},
    )


@allowed("kitting.sign_protocols", "GET", "POST")
def evidence_new(request: LotwardRequest) -> HttpResponse:
    """Record a report."""
    return act_page(
        request,
        "kitting/disinfection/evidence_new",
        EvidenceForm(request.POST or None),
        lambda sign, **said: evidence.record_evidence(report=Report(**said), sign=sign),
        said=_("The report is recorded as %(code)s."),
        to=reverse("kitting:evidence"),
        act=_("Record the report"),
    )


@allowed("kitting.sign_protocols", "GET", "POST")
def part_dose(request: LotwardRequest, code: str) -> HttpResponse:
    """Set the largest dose that a part may take in its life."""
    part = get_or_404(Part, code=code)
    return act_page(
        request,
        "kitting/disinfection/protocol_dose",
        DoseForm(request.POST or None, part=part),
        lambda sign, dose: evidence.limit_dose(
            part_id=part.pk, max_dose_uj_cm2=dose, sign=sign
        ),
        said=_("The largest dose of %(part)s is recorded."),
        named={"part": part.name},
        to=reverse("kitting:protocols"),
        of=part,
        act=_("Keep this limit"),
    )
