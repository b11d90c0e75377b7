"""Closing a case, reopening it, and its report."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from dispatch.closing import services
from dispatch.closing.forms import CloseForm, ReopenForm
from dispatch.closing.queries.closings import grouped, mark_of_scope
from dispatch.closing.queries.report import report_of
from dispatch.effectiveness.queries import checks_of
from dispatch.labels.report import case_report as draw
from dispatch.labels.sheets import paper_of
from dispatch.models import Case
from dispatch.notices.queries.whom import whom
from dispatch.recall.queries.cases import closing_of
from dispatch.replies.queries.accounts import unaccounted
from kitting.domain.errors import Refused
from kitting.ledger import clock
from kitting.ledger.locking import snapshot
from kitting.ledger.needs import is_own
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, pdf_response
from kitting.web.messages import sentence


def _undone(case: Case) -> dict[str, Any]:
    """What was not done of what a case asks, for whoever decides to close it."""
    every, checks = whom(case), checks_of(case)
    return {
        "untold": [
            one.consignee
            for one in every
            if one.recalled and not (one.reached or one.written)
        ],
        "unasked": checks[0].result.open if checks else 0,
    }


def _to_case(number: str) -> str:
    return reverse("dispatch:case-detail", args=[number])


@allowed("kitting.lift_holds", "GET", "POST")
def case_close(request: LotwardRequest, number: str) -> HttpResponse:
    """Close a case: what was decided, and why of boxes whose end nobody knows."""
    case = get_or_404(Case.objects.select_related("operation"), number=number)
    if request.method == "GET" and closing_of(case):
        return redirect(_to_case(number))
    with snapshot():
        seen, groups = mark_of_scope(case), grouped(unaccounted(case))
    form = CloseForm(
        request.POST or None,
        groups=groups,
        by=str(request.user),
        initial={"seen": seen},
    )
    own = is_own(request.workshop, request.user, [case.operation.by_id])
    return act_page(
        request,
        "dispatch/closing/case_close",
        form,
        partial(services.close_case, number=number),
        said=_("Case %(case)s is closed. Its holds stay until they are lifted."),
        to=_to_case(number),
        act=_("Close the case"),
        fields="dispatch/closing/_close_fields.html",
        case=case,
        groups=groups,
        around=lambda: _undone(case),
        own=sentence(Refused("closing_own")) if own else "",
    )


@allowed("kitting.place_holds", "GET", "POST")
def case_reopen(request: LotwardRequest, number: str) -> HttpResponse:
    """Open a closed case again."""
    case = get_or_404(Case, number=number)
    return act_page(
        request,
        "dispatch/closing/case_reopen",
        ReopenForm(request.POST or None),
        partial(services.reopen_case, number=number),
        said=_("Case %(case)s is open again."),
        to=_to_case(number),
        act=_("Reopen the case"),
        stop=True,
        case=case,
    )


@allowed("kitting.recall")
def case_report(request: LotwardRequest, number: str) -> HttpResponse:
    """All that is on record of a case, as PDF; also of one that is not closed."""
    case = get_or_404(Case.objects.select_related("operation"), number=number)
    with snapshot():
        report = report_of(case, request.workshop, timezone.localtime(clock.now()))
    pdf = draw(report, paper_of(request.workshop.country))
    return pdf_response(pdf, f"case-{number}")
