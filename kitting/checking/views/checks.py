"""The check of a lot, by its plan; and rejecting it against its plan."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.checking.forms import CheckForm, RejectForm
from kitting.checking.queries.checks import check_page, kinds_for
from kitting.checking.services import checks
from kitting.ledger.reach import standing_reach
from kitting.lots.queries.lots import LotPage, one_lot
from kitting.models.lots import Verdict
from kitting.web.acting import attempt, form_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, go


@allowed("kitting.check_lots", "GET", "POST")
def lot_check(request: LotwardRequest, number: str) -> HttpResponse:
    """Count what is found in a lot and give the verdict of its plan."""
    return _checked(
        request, number, CheckForm, checks.give_verdict, act=_("Give the verdict")
    )


@allowed("kitting.accept_under_concession", "GET", "POST")
def lot_reject(request: LotwardRequest, number: str) -> HttpResponse:
    """Reject a lot although its plan may accept it."""
    act = _("Reject the lot, whatever its plan says")
    service = checks.reject_against_plan
    return _checked(request, number, RejectForm, service, act=act, against=True)


def _checked(
    request: LotwardRequest,
    number: str,
    kind: type[CheckForm | RejectForm],
    service: Callable[..., checks.Checked],
    **context: Any,
) -> HttpResponse:
    lot = get_or_404(one_lot(), number=number)
    waiting = lot.part.needs_check and lot.stage == "closed" and not lot.verdict
    plan = check_page(lot) if waiting else None
    mark = plan.plan.mark if plan else ""
    initial = {"shown": mark, "verdict": Verdict.ACCEPTED}
    form: Any = kind(
        request.POST or None,
        kinds=kinds_for(lot.part),
        initial=initial,
        plan=plan.plan if plan else None,
    )
    done, status = attempt(request, form, partial(service, lot_id=lot.pk))
    if done is not None:
        return _said(request, done)
    if form.is_bound:  # The form carries the plan that the page around it shows now.
        form.data = form.data.copy()
        form.data["shown"] = mark
    return form_page(
        request,
        "kitting/checking/lot_check",
        form,
        status,
        fragment="_lot_check",
        lot=lot,
        shown=LotPage(lot, standing_reach()),
        page=plan,
        back=reverse("kitting:lot-detail", args=[lot.number]),
        **context,
    )


def _said(request: LotwardRequest, done: checks.Checked) -> HttpResponse:
    said = (
        _("Lot %(lot)s is accepted.")
        if done.verdict == Verdict.ACCEPTED
        else _("Lot %(lot)s is rejected. Put its bags in quarantine.")
    )
    messages.success(request, said % vars(done))
    if done.ended_reduced:
        messages.info(
            request, _("Reduced inspection ends: the next lot is on normal inspection.")
        )
    return go(request, reverse("kitting:lot-detail", args=[done.lot]))
