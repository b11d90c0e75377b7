"""Complaints: taken at the telephone, decided, followed in a case, and their trend."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from dispatch.complaints import services
from dispatch.complaints.forms import (
    ComplaintFilterForm,
    ComplaintForm,
    DecisionForm,
    NoteForm,
)
from dispatch.complaints.queries import complaints as queries
from dispatch.complaints.queries.trend import Trend, trend
from dispatch.complaints.words import DECISIONS, SEVERITIES
from dispatch.consignees.queries import points_at
from dispatch.domain.complaints import Rate
from dispatch.models import Complaint
from dispatch.recall.forms import CaseForm
from dispatch.recall.queries.cases import every_case
from dispatch.recall.queries.recall import Target
from dispatch.recall.views.cases import case_page, opened_words, targets_or_why
from kitting.domain.shown import spaced
from kitting.ledger import clock
from kitting.ledger.locking import snapshot
from kitting.ledger.needs import LONGEST_REASON
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404
from kitting.web.tables import Column, file_response

ROWS = 50
COLUMNS: list[Column[Complaint]] = [
    Column("complaint", "number"),
    Column("received_on", "received_on"),
    Column("happened_on", "happened_on"),
    Column("severity", "severity"),
    Column("what", "what"),
    Column("said_by", "said_by"),
    Column("contact", "contact"),
    Column("consignee", lambda row: row.consignee.stays.name if row.consignee else ""),
    Column("point", "point"),
    Column("about", "about"),
    Column("part", lambda row: row.part.name if row.part else ""),
    Column("decision", "decision"),
    Column("case", "case_number"),
]
Row = tuple[str, str, Rate[Any]]
"""Words, the address of their page or nothing, and the figures."""
RATES: list[Column[tuple[str, str, str, Rate[Any]]]] = [
    Column("sorted", lambda line: line[0]),
    Column("of", lambda line: line[1]),
    Column("complaints", lambda line: line[3].complaints),
    Column("sets_sent", lambda line: line[3].sets),
    Column("for_1000_sets", lambda line: line[3].per_thousand),
]


@allowed("kitting.recall")
def complaints(request: LotwardRequest) -> HttpResponseBase:
    """What was said: the complaints that wait for a decision, the newest first."""
    form = ComplaintFilterForm(request.GET)
    chosen = form.chosen()
    rows = queries.filtered(chosen).select_related("part")
    if file := file_response(request, "complaints", COLUMNS, rows):
        return file
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "filtered": bool(chosen),
        "page": page,
        "rows": [_said(row) for row in page],
        "waiting": queries.waiting(),
    }
    return render(request, "dispatch/complaints/complaints.html", context)


def _said(row: Complaint) -> tuple[Complaint, object, object]:
    """A complaint, how bad it is in words, and what was decided."""
    decision = getattr(row, "decision", "")
    return row, SEVERITIES[row.severity], DECISIONS.get(decision, "")


@allowed("kitting.recall", "GET", "POST")
def complaint_new(request: LotwardRequest) -> HttpResponse:
    """Take a complaint down at the telephone."""
    whom = request.POST.get("consignee", "")
    asked = request.GET.get("q", "")[:40]
    return act_page(
        request,
        "dispatch/complaints/complaint_new",
        ComplaintForm(
            request.POST or None,
            initial={"about": asked, "received_on": clock.today()},
        ),
        services.take_complaint,
        said=_("Complaint %(complaint)s is on record. Tell them its number."),
        to=lambda done: _complaint_address(done.complaint),
        act=_("Take it down"),
        back=reverse("dispatch:complaints"),
        points=points_at(whom),
    )


@allowed("kitting.recall")
def complaint_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """One complaint: what was said, what it is about, what was decided."""
    rows = queries.told().select_related("box__size__product", "lot", "part")
    row = get_or_404(rows, number=number)
    context = {
        "complaint": row,
        "never_had": queries.never_had(row),
        "severity": SEVERITIES[row.severity],
        "decision": DECISIONS.get(getattr(row, "decision", ""), ""),
        "notes": [
            (note, DECISIONS.get(note.decision, "")) for note in queries.notes_of(row)
        ],
    }
    return render(request, "dispatch/complaints/complaint_detail.html", context)


def _complaint_address(number: str) -> str:
    return reverse("dispatch:complaint-detail", args=[number])


@allowed("kitting.recall", "GET", "POST")
def complaint_note(request: LotwardRequest, number: str) -> HttpResponse:
    """Add to a complaint, or say what was taken down wrong."""
    row = get_or_404(Complaint, number=number)
    return act_page(
        request,
        "dispatch/complaints/complaint_note",
        NoteForm(request.POST or None),
        partial(services.note_complaint, number=number),
        said=_("The note is on record."),
        to=_complaint_address(number),
        act=_("Add the note"),
        complaint=row,
    )


@allowed("kitting.place_holds", "GET", "POST")
def complaint_decide(request: LotwardRequest, number: str) -> HttpResponse:
    """Say what is done of a complaint, and why."""
    row = get_or_404(Complaint, number=number)
    return act_page(
        request,
        "dispatch/complaints/complaint_decide",
        DecisionForm(request.POST or None),
        partial(services.decide_complaint, number=number),
        said=_("The decision on complaint %(complaint)s is on record."),
        to=_complaint_address(number),
        act=_("Keep the decision"),
        complaint=row,
    )


@allowed("kitting.place_holds", "GET", "POST")
def complaint_case(request: LotwardRequest, number: str) -> HttpResponse:
    """Open a case from a complaint, on what its number names or another one."""
    row = get_or_404(Complaint.objects.select_related("box", "part"), number=number)
    asked = request.GET.get("q", row.about)
    targets, refusal = targets_or_why(asked)
    if asked == row.about:
        targets = _with_its_lot(row, targets)
    if not targets:
        if request.method == "POST":
            raise Http404("Nothing was chosen that a case could be about.")
        page = "dispatch/complaints/complaint_case.html"
        context = {"complaint": row, "asked": asked, "refusal": refusal}
        return render(request, page, context, status=422 if refusal else 200)
    because = _("Complaint %(number)s: %(what)s") % {"number": number, "what": row.what}
    initial = {"hazard": row.what[:500], "reason": because[:LONGEST_REASON]}
    return act_page(
        request,
        "dispatch/complaints/complaint_case",
        CaseForm(request.POST or None, targets=targets, initial=initial),
        partial(services.open_case_for, number=number),
        said=opened_words,
        to=case_page,
        back=_complaint_address(number),
        act=_("Open the case"),
        stop=True,
        around=lambda: {"cases": every_case(holding=True)},
        complaint=row,
        asked=asked,
    )


def _with_its_lot(row: Complaint, targets: list[Target]) -> list[Target]:
    """The lots of the part at fault with its box: first, where it is a single one."""
    if row.box is None or row.part is None:
        return targets
    lots = row.box.lines.filter(lot__part=row.part).order_by("lot").distinct()
    its = [
        Target(f"lot:{pk}", f"the lot of {row.part.name} in this box, {spaced(number)}")
        for pk, number in lots.values_list("lot", "lot__number")
    ]
    return [*its, *targets] if len(its) == 1 else [*targets, *its]


@allowed("kitting.recall")
def complaint_trend(request: LotwardRequest) -> HttpResponseBase:
    """Complaints for a thousand sets that were sent: what the next revision answers."""
    form = ComplaintFilterForm(request.GET)
    chosen = form.chosen()
    with snapshot():
        found = trend(chosen.get("severity", ""))
    tables = _tables(found)
    lines = [(head, *row) for head, _note, rows in tables for row in rows]
    if file := file_response(request, "complaints-trend", RATES, lines):
        return file
    context = {
        "form": form,
        "filtered": "severity" in chosen,
        "trend": found,
        "tables": tables,
    }
    return render(request, "dispatch/complaints/complaint_trend.html", context)


def _tables(found: Trend) -> list[tuple[str, str, list[Row]]]:
    """The tables of the trend, each with what stands over it."""
    recall = reverse("dispatch:recall")

    def part(rate: Rate[Any]) -> Row:
        return str(rate.key.name), "", rate

    def revision(rate: Rate[Any]) -> Row:
        of = rate.key.part.code, rate.key.code
        said = {"name": rate.key.part.name, "code": rate.key.code}
        words = _("%(name)s, revision %(code)s") % said
        return words, reverse("kitting:revision-detail", args=of), rate

    def lot(rate: Rate[Any]) -> Row:
        said = {"number": rate.key.number, "name": rate.key.part.name}
        asked = urlencode({"q": rate.key.number})
        return _("%(number)s, %(name)s") % said, f"{recall}?{asked}", rate

    def month(rate: Rate[Any]) -> Row:
        return rate.key.strftime("%Y-%m"), "", rate

    same = _("Complaints received and sets sent in the same month.")
    return [
        (_("By part"), "", [part(rate) for rate in found.parts]),
        (_("By revision"), "", [revision(rate) for rate in found.revisions]),
        (_("By lot"), "", [lot(rate) for rate in found.lots]),
        (_("By month"), same, [month(rate) for rate in found.months]),
    ]
