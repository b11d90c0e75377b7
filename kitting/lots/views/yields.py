"""The page on which it is set what a material gives at most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from kitting.lots.forms.yields import DropYieldForm, YieldForm
from kitting.lots.queries.yields import all_yields
from kitting.lots.services import yields as services
from kitting.web.acting import OK, attempt
from kitting.web.http import allowed, go, new_op_key, render_part

if TYPE_CHECKING:
    from django.http import HttpResponse

    from kitting.web.forms import KeyedForm
    from kitting.web.http import LotwardRequest


@allowed("kitting.set_up")
@require_http_methods(["GET", "POST"])
def yields(request: LotwardRequest) -> HttpResponse:
    """What materials give at most; set one, or change it."""
    form = YieldForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: services.set_yield(
                part_id=form.cleaned_data["part"].pk,
                material_id=form.cleaned_data["material"].pk,
                pieces=form.cleaned_data["pieces"],
                amount=form.cleaned_data["amount"],
                sign=sign,
            ),
        )
        if done is not None:
            messages.success(request, _("The yield is set."))
            return go(request, reverse("kitting:yields"))
    return _show(request, form, status)


@allowed("kitting.set_up")
@require_POST
def yield_drop(request: LotwardRequest) -> HttpResponse:
    """Take a yield out."""
    form = DropYieldForm(request.POST)
    done, status = attempt(
        request,
        form,
        lambda sign: services.drop_yield(
            yield_id=form.cleaned_data["which"], sign=sign
        ),
    )
    if done is None:
        return _show(request, YieldForm(), status, wrong=form)
    messages.success(request, _("The yield is removed."))
    return go(request, reverse("kitting:yields"))


def _show(
    request: LotwardRequest,
    form: YieldForm,
    status: int,
    wrong: KeyedForm | None = None,
) -> HttpResponse:
    return render_part(
        request,
        page="kitting/lots/yields.html",
        part="kitting/lots/_yields.html",
        context={
            "form": form,
            "wrong": wrong,
            "rows": [(row, new_op_key()) for row in all_yields()],
            "here": "kitting:workshop",
        },
        status=status,
    )
