"""The page on which it is set what a material gives at most."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.lots.forms.yields import DropYieldForm, YieldForm
from kitting.lots.queries.yields import all_yields
from kitting.lots.services import yields as services
from kitting.web.acting import attempt, say_and_go
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, new_op_key, render_part


@allowed("kitting.set_up", "GET", "POST")
def yields(request: LotwardRequest) -> HttpResponse:
    """What materials give at most; set one, or change it."""
    form = YieldForm(request.POST or None)
    done, status = attempt(request, form, services.set_yield)
    if done is None:
        return _show(request, form, status)
    return say_and_go(request, _("The yield is set."), reverse("kitting:yields"))


@allowed("kitting.set_up", "POST")
def yield_drop(request: LotwardRequest) -> HttpResponse:
    """Take a yield out."""
    form = DropYieldForm(request.POST)
    done, status = attempt(
        request,
        form,
        lambda sign, which: services.drop_yield(yield_id=which, sign=sign),
    )
    if done is None:
        return _show(request, YieldForm(), status, wrong=form)
    return say_and_go(request, _("The yield is removed."), reverse("kitting:yields"))


def _show(
    request: LotwardRequest,
    form: YieldForm,
    status: int,
    wrong: KeyedForm | None = None,
) -> HttpResponse:
    return render_part(
        request,
        "kitting/lots/yields",
        "_yields",
        {
            "form": form,
            "wrong": wrong,
            "rows": [(row, new_op_key()) for row in all_yields()],
        },
        status=status,
    )
