"""Calls about a case: one is noted, one is undone, all of them are shown."""

from __future__ import annotations

from functools import partial

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from dispatch.domain.notices import Outcome
from dispatch.labels.calls import call_sheet
from dispatch.labels.report import fitted
from dispatch.labels.sheets import paper_of
from dispatch.models import Case, CaseCall, Consignee
from dispatch.notices.forms.calls import CallForm, UndoCallForm
from dispatch.notices.queries import whom as queries
from dispatch.notices.queries.sheet import sheet_of
from dispatch.notices.services import calls as services
from dispatch.notices.views.letters import whom_to_tell
from kitting.ledger import clock
from kitting.ledger.locking import snapshot
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, pdf_response
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[CaseCall]] = [
    Column("at", "when"),
    Column("noted_at", "operation.at"),
    Column("by", "operation.by_name"),
    Column("code", "consignee.code"),
    Column("consignee", "consignee.name"),
    Column("outcome", "outcome"),
    Column("spoke_to", "spoke_to"),
    Column("said", "said"),
    Column("stopped", "stopped"),
    Column("set_aside", "set_aside"),
    Column("told_on", "told_on"),
    Column("undone", lambda row: _back(row)),
]


def _back(call: CaseCall) -> str:
    return call.undone.reason if hasattr(call, "undone") else ""


@allowed("kitting.recall")
def case_calls(request: LotwardRequest, number: str) -> HttpResponseBase:
    """Every call about a case, as a file too."""
    case = get_or_404(Case, number=number)
    rows = queries.calls_of(case)
    if file := file_response(request, f"calls-{number}", COLUMNS, rows):
        return file
    context = {"case": case, "rows": rows}
    return render(request, "dispatch/notices/case_calls.html", context)


@allowed("kitting.recall")
def case_call_sheet(request: LotwardRequest, number: str) -> HttpResponse:
    """Whom to call about a case, as PDF, to write on at the telephone."""
    case = get_or_404(Case, number=number)
    with snapshot():
        now = timezone.localtime(clock.now())
        sheet = sheet_of(case, queries.whom(case), request.workshop, now)
    if not sheet.calls:
        messages.error(request, _("No box of it is recalled from anybody."))
        return redirect(whom_to_tell(number))
    pdf = call_sheet(fitted(sheet), paper_of(request.workshop.country))
    return pdf_response(pdf, f"calls-{number}")


@allowed("kitting.recall", "GET", "POST")
def case_call(request: LotwardRequest, number: str, code: str) -> HttpResponse:
    """Note a call to a consignee, with its numbers and what was said before."""
    case = get_or_404(Case, number=number)
    consignee = get_or_404(Consignee, code=code)
    with snapshot():
        one = queries.one_of(case, consignee)
    if one is None:
        raise Http404("The case does not reach it.")
    return act_page(
        request,
        "dispatch/notices/case_call",
        CallForm(request.POST or None),
        partial(services.note_call, number=number, consignee_id=consignee.pk),
        said=_noted,
        to=whom_to_tell(number),
        act=_("Note the call"),
        case=case,
        one=one,
    )


@allowed("kitting.recall", "GET", "POST")
def call_undo(request: LotwardRequest, pk: int) -> HttpResponse:
    """Say that a call was noted wrongly."""
    call = get_or_404(CaseCall.objects.select_related("case", "consignee"), pk=pk)
    return act_page(
        request,
        "dispatch/notices/call_undo",
        UndoCallForm(request.POST or None),
        partial(services.undo_call, call_id=pk),
        said=_(
            "The call to %(consignee)s counts for nothing any more. Note the right one."
        ),
        to=whom_to_tell(call.case.number),
        act=_("Undo the note"),
        stop=True,
        call=call,
    )


def _noted(done: services.Called) -> str:
    words = {
        Outcome.REACHED: _("%(consignee)s is reached, and it is on record."),
        Outcome.SILENT: _("Nobody answered at %(consignee)s: call again."),
        Outcome.WRONG: _(
            "The number of %(consignee)s is wrong: find another, and correct it."
        ),
    }[Outcome(done.outcome)]
    return words % {"consignee": done.consignee}
