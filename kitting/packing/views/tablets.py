"""Tablets tied to benches: a manager has a code shown, the tablet takes it up."""

from __future__ import annotations

from functools import partial

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from kitting.domain.errors import LotwardError, Refused
from kitting.ledger.operations import Sign
from kitting.models import Bench
from kitting.packing.forms import CodeForm
from kitting.packing.services.tablets import (
    code_of,
    give_code,
    giver_of,
    tie_tablet,
    token_of,
    untie_tablet,
)
from kitting.web.acting import OK, UNFIT, act_page, attempt
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, add_refusal, allowed, get_or_404
from kitting.web.tablet import hand_token


@allowed("kitting.set_up", "GET", "POST")
def bench_tie(request: LotwardRequest, code: str) -> HttpResponse:
    """Show the code by which a tablet is tied to a bench, once it is asked for."""
    at = get_or_404(Bench, code=code)
    form = KeyedForm(request.POST or None)
    given, status = attempt(request, form, partial(give_code, bench_id=at.pk))
    context = {
        "form": form,
        "bench": at,
        "given": given,
        "shown": _in_groups(code_of(form.key)) if given else "",
        "address": request.build_absolute_uri(reverse("kitting:tablet")),
        "act": _("Show a code"),
        "back": reverse("kitting:bench-change", args=[at.code]),
    }
    return render(request, "kitting/packing/bench_tie.html", context, status=status)


def _in_groups(code: str) -> str:
    return " ".join(code[at : at + 4] for at in range(0, len(code), 4))


@allowed("kitting.set_up", "GET", "POST")
def bench_untie(request: LotwardRequest, code: str) -> HttpResponse:
    """Untie the tablet of a bench."""
    at = get_or_404(Bench, code=code)
    return act_page(
        request,
        "kitting/packing/bench_untie",
        KeyedForm(request.POST or None),
        partial(untie_tablet, bench_id=at.pk),
        said=_("The tablet of %(name)s is untied."),
        to=reverse("kitting:bench-change", args=[at.code]),
        bench=at,
        act=_("Untie the tablet"),
        stop=True,
    )


@sensitive_post_parameters("code")
@never_cache
@require_http_methods(["GET", "POST"])
def tablet(request: HttpRequest) -> HttpResponse:
    """Take up a code at the tablet that is to be tied; nobody is signed in there."""
    form, status = CodeForm(request.POST or None), OK
    if request.method == "POST":
        status = UNFIT
        if form.is_valid():
            try:
                _tie(form)
            except LotwardError as error:
                status = add_refusal(form, error, field="code")
            else:
                return _tied(request, form)
    context = {"form": form, "act": _("Tie this tablet")}
    return render(request, "kitting/packing/tablet.html", context, status=status)


def _tie(form: CodeForm) -> None:
    code = form.cleaned_data["code"]
    by = giver_of(code)
    if by is None:
        raise Refused("tie_code_wrong")
    tie_tablet(code=code, sign=Sign(by=by, key=form.key))


def _tied(request: HttpRequest, form: CodeForm) -> HttpResponse:
    """Let the tablet carry its token; whoever was signed in there is out."""
    logout(request)
    response = redirect("sign-on")
    hand_token(response, token_of(form.key, form.cleaned_data["code"]))
    return response
