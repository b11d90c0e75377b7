"""The check of a lot."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from kitting.forms.checks import CheckForm
from kitting.models.lots import Verdict
from kitting.queries.lots import lot_page, one_lot
from kitting.reach import standing_reach
from kitting.services import checking
from kitting.views.acting import OK, attempt
from lotward.http import allowed, get_or_404, go, render_part

if TYPE_CHECKING:
    from django.http import HttpResponse

    from kitting.models import Lot
    from kitting.operations import Sign
    from lotward.http import LotwardRequest


@allowed("kitting.check_lots")
@require_http_methods(["GET", "POST"])
def lot_check(request: LotwardRequest, number: str) -> HttpResponse:
    """Accept or reject a lot."""
    lot = get_or_404(one_lot(), number=number)
    form = CheckForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(request, form, lambda sign: _check(lot, form, sign))
        if done is not None:
            said = (
                _("Lot %(lot)s is accepted.")
                if done.verdict == Verdict.ACCEPTED
                else _("Lot %(lot)s is rejected. Put its bags where nobody packs them.")
            )
            messages.success(request, said % {"lot": done.lot})
            return go(request, reverse("kitting:lot-detail", args=[lot.number]))
    return render_part(
        request,
        page="kitting/lot_check.html",
        part="_form.html",
        context={
            "lot": lot,
            "shown": lot_page(lot, standing_reach()),
            "form": form,
            "act": _("Give the verdict"),
            "part": "lot-check",
            "back": reverse("kitting:lot-detail", args=[lot.number]),
            "here": "kitting:lots",
        },
        status=status,
    )


def _check(lot: Lot, form: CheckForm, sign: Sign) -> checking.Checked:
    data = form.cleaned_data
    return checking.give_verdict(
        lot_id=lot.pk,
        accept=data["verdict"] == Verdict.ACCEPTED,
        plan=data["plan"],
        found=data["found"],
        reason=data["reason"],
        sign=sign,
    )
