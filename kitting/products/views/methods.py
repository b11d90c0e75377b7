"""Pages of methods: a table, one of them, new settings, a change, a release."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.errors import Refused
from kitting.domain.settings import next_version
from kitting.ledger.needs import is_own
from kitting.ledger.seals import touched_by
from kitting.models import Method
from kitting.products.forms.methods import (
    MethodChangeForm,
    MethodFilterForm,
    MethodForm,
    MethodReleaseForm,
)
from kitting.products.queries import methods as queries
from kitting.products.queries.methods import MethodLine, mark_of
from kitting.products.services import methods as services
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

METHODS: list[Column[MethodLine]] = [
    Column("method", "method.code"),
    Column("machines", "method.machine_group"),
    Column("settings version", "method.settings_version"),
    Column("parts", lambda row: " ".join(part.code for part in row.parts)),
    Column("stage", "stage"),
    Column("lots", "lots"),
]


@allowed("kitting.see_work")
def method_list(request: LotwardRequest) -> HttpResponseBase:
    """Every method, or those of a part."""
    form = MethodFilterForm(request.GET)
    part = form.chosen().get("part")
    rows = queries.methods_of(part)
    if file := file_response(request, "methods", METHODS, rows):
        return file
    context = {
        "form": form,
        "part_chosen": part,
        "rows": rows,
        "in_use": sum(row.method.active for row in rows),
        "waiting": [row.method.code for row in rows if row.stage == "on trial"],
    }
    return render_part(request, "kitting/products/methods", "_method_list", context)


@allowed("kitting.see_work")
def method_detail(request: LotwardRequest, code: str) -> HttpResponse:
    """One method and the lots that were made with it."""
    page = queries.method_page(_method(code))
    context = {"page": page, "method": page.line.method}
    return render_part(request, "kitting/products/method_detail", "", context)


def _method(code: str) -> Method:
    return get_or_404(Method.objects.select_related("release__operation"), code=code)


@allowed("kitting.keep_methods", "GET", "POST")
def method_new(request: LotwardRequest) -> HttpResponse:
    """Add settings, filled in from those before; ``after`` in the address names them."""
    after = request.GET.get("after", "")
    known = Method.objects.filter(active=True)
    last = known.filter(code=after).first() or known.order_by("-pk").first()
    initial = {}
    if last is not None:
        initial = {
            "settings_version": next_version(last.settings_version),
            "machine_group": last.machine_group,
            "parts": [each.part_id for each in last.made_with_it.all()],
        }
    return act_page(
        request,
        "kitting/products/method_set",
        MethodForm(request.POST or None, initial=initial),
        services.add_method,
        said=_(
            "%(code)s is added. It is on trial: nothing made with it is packed until"
            " somebody releases it."
        ),
        to=lambda done: reverse("kitting:method-detail", args=[done.code]),
        around=lambda: {"machines": queries.machine_groups()},
        act=_("Add the settings"),
        back=reverse("kitting:methods"),
        last=last,
    )


@allowed("kitting.keep_methods", "GET", "POST")
def method_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Correct a method, stop using it, or use it again."""
    method = _method(code)
    fixed = queries.rests_on(method)
    initial = {
        "seen": mark_of(method),
        "machine_group": method.machine_group,
        "settings_version": method.settings_version,
        "parts": [each.part_id for each in method.made_with_it.all()],
        "active": method.active,
    }
    return act_page(
        request,
        "kitting/products/method_set",
        MethodChangeForm(request.POST or None, fixed=fixed, initial=initial),
        partial(services.change_method, code=code),
        said=_("%(code)s is changed."),
        to=reverse("kitting:method-detail", args=[code]),
        around=lambda: {"machines": queries.machine_groups()},
        act=_("Change the method"),
        method=method,
        fixed=fixed,
    )


@allowed("kitting.release_methods", "GET", "POST")
def method_release(request: LotwardRequest, code: str) -> HttpResponse:
    """Release a method from its trial, as it stands on this page."""
    method = _method(code)
    own = is_own(request.workshop, request.user, touched_by(method))
    form = MethodReleaseForm(
        request.POST or None,
        initial={"seen": mark_of(method)},
        by=str(request.user),
    )
    return act_page(
        request,
        "kitting/products/method_release",
        form,
        partial(services.release_method, code=code),
        said=_("%(code)s is released: what is made with it may be packed."),
        to=reverse("kitting:method-detail", args=[code]),
        around=lambda: {"page": queries.method_page(method)},
        act=_("Release %(code)s") % {"code": code},
        method=method,
        own=sentence(Refused("method_own", method=code)) if own else "",
    )
