"""The check of a lot, by its plan; and rejecting it against its plan."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from kitting.checking.forms.checks import CheckForm, RejectForm
from kitting.checking.queries.checks import kinds_for
from kitting.checking.queries.inspection import check_page
from kitting.checking.services import checks
from kitting.ledger.reach import standing_reach
from kitting.lots.queries.lots import LotPage, one_lot
from kitting.models.lots import Verdict
from kitting.web.acting import OK, attempt
from kitting.web.http import allowed, get_or_404, go, render_part

if TYPE_CHECKING:
    from django.http import HttpResponse

    from kitting.checking.queries.inspection import CheckPage
    from kitting.ledger.operations import Sign
    from kitting.models import Lot
    from kitting.web.http import LotwardRequest


@allowed("kitting.check_lots")
@require_http_methods(["GET", "POST"])
def lot_check(request: LotwardRequest, number: str) -> HttpResponse:
    """Count what is found in a lot and give the verdict of its plan."""
    lot = get_or_404(one_lot(), number=number)
    initial = _initial(shown := _plan(lot))
    form = CheckForm(request.POST or None, kinds=kinds_for(lot.part), initial=initial)
    status = OK
    if request.method == "POST":
        done, status = attempt(request, form, lambda sign: _check(lot, form, sign))
        if done is not None:
            return _said(request, done)
        form = _with_plan_as_it_is(form, initial)
    return _page(request, lot, shown, form, status, act=_("Give the verdict"))


@allowed("kitting.accept_under_concession")
@require_http_methods(["GET", "POST"])
def lot_reject(request: LotwardRequest, number: str) -> HttpResponse:
    """Reject a lot although its plan may accept it."""
    lot = get_or_404(one_lot(), number=number)
    initial = _initial(shown := _plan(lot))
    form = RejectForm(request.POST or None, kinds=kinds_for(lot.part), initial=initial)
    status = OK
    if request.method == "POST":
        done, status = attempt(request, form, lambda sign: _reject(lot, form, sign))
        if done is not None:
            return _said(request, done)
        form = _with_plan_as_it_is(form, initial)
    act = _("Reject the lot, whatever its plan says")
    return _page(request, lot, shown, form, status, act=act, against=True)


def _plan(lot: Lot) -> CheckPage | None:
    waiting = lot.part.needs_check and lot.stage == "closed" and not lot.verdict
    return check_page(lot) if waiting else None


def _initial(shown: CheckPage | None) -> dict[str, Any]:
    mark = shown.plan.mark if shown else ""
    return {"shown": mark, "verdict": Verdict.ACCEPTED}


def _with_plan_as_it_is(form: Any, initial: dict[str, Any]) -> Any:
    """Let a refused form carry the plan that the page around it shows now."""
    data = form.data.copy()
    data["shown"] = initial["shown"]
    form.data = data
    return form


def _check(lot: Lot, form: CheckForm, sign: Sign) -> checks.Checked:
    data = form.cleaned_data
    return checks.give_verdict(
        lot_id=lot.pk,
        accept=data["verdict"] == Verdict.ACCEPTED,
        defects=form.defects,
        found=form.unlisted,
        reason=data["reason"],
        shown=data["shown"],
        sign=sign,
    )


def _reject(lot: Lot, form: RejectForm, sign: Sign) -> checks.Checked:
    return checks.reject_against_plan(
        lot_id=lot.pk,
        defects=form.defects,
        found=form.unlisted,
        reason=form.cleaned_data["reason"],
        shown=form.cleaned_data["shown"],
        sign=sign,
    )


def _said(request: LotwardRequest, done: checks.Checked) -> HttpResponse:
    said = (
        _("Lot %(lot)s is accepted.")
        if done.verdict == Verdict.ACCEPTED
        else _("Lot %(lot)s is rejected. Put its bags in quarantine.")
    )
    messages.success(request, said % {"lot": done.lot})
    if done.ended_reduced:
        messages.info(
            request, _("Reduced inspection ends: the next lot is on normal inspection.")
        )
    return go(request, reverse("kitting:lot-detail", args=[done.lot]))


def _page(
    request: LotwardRequest,
    lot: Lot,
    shown: CheckPage | None,
    form: Any,
    status: int,
    **context: Any,
) -> HttpResponse:
    return render_part(
        request,
        page="kitting/checking/lot_check.html",
        part="kitting/checking/_lot_check.html",
        context={
            "lot": lot,
            "shown": LotPage(lot, standing_reach()),
            "page": shown,
            "form": form,
            "part": "lot-check",
            "back": reverse("kitting:lot-detail", args=[lot.number]),
            "here": "kitting:lots",
            **context,
        },
        status=status,
    )
