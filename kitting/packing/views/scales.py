"""Scales that send what they show: the token of one, and the door for its readings."""

from __future__ import annotations

import json
from functools import partial
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from kitting.domain.errors import LotwardError
from kitting.ledger import clock
from kitting.ledger.clock import at_the_workshop
from kitting.models import Bench
from kitting.packing.forms import ReadingForm
from kitting.packing.services.scales import (
    TooOften,
    end_token,
    give_token,
    scale_behind,
    take_reading,
    token_of,
)
from kitting.web.acting import act_page, attempt
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404
from kitting.web.messages import sentence

LONGEST: Final = 1_000
"""Bytes that a reading has at most."""
BEARER: Final = "Bearer "


@allowed("kitting.set_up", "GET", "POST")
def scale_token(request: LotwardRequest, code: str) -> HttpResponse:
    """Show the token behind which the scale of a bench sends, once it is asked for."""
    at = get_or_404(Bench, code=code)
    form = KeyedForm(request.POST or None)
    given, status = attempt(request, form, partial(give_token, bench_id=at.pk))
    context = {
        "form": form,
        "bench": at,
        "given": given,
        "token": token_of(form.key) if given else "",
        "address": request.build_absolute_uri(reverse("kitting:scale", args=[code])),
        "act": _("Make a token"),
        "back": reverse("kitting:bench-change", args=[at.code]),
    }
    response = render(
        request, "kitting/packing/scale_token.html", context, status=status
    )
    response.headers["Cache-Control"] = "private, no-store"
    return response


@allowed("kitting.set_up", "GET", "POST")
def scale_end(request: LotwardRequest, code: str) -> HttpResponse:
    """Take no more readings of the scale of a bench."""
    at = get_or_404(Bench, code=code)
    return act_page(
        request,
        "kitting/packing/scale_end",
        KeyedForm(request.POST or None),
        partial(end_token, bench_id=at.pk),
        said=_("The scale of %(name)s sends nothing any more."),
        to=reverse("kitting:bench-change", args=[at.code]),
        bench=at,
        act=_("End the token"),
        stop=True,
    )


@csrf_exempt  # it goes by no cookie, so that no page of another site can send here
@never_cache
@require_POST
def scale(request: HttpRequest, code: str) -> HttpResponse:
    """Take one reading, of a scale that shows its token; nobody is signed in there."""
    length = request.META.get("CONTENT_LENGTH") or "0"
    if not (length.isdecimal() and len(length) < 8 and int(length) <= LONGEST):
        return _plain(413, _("A reading is shorter than that."))
    told = request.headers.get("Authorization", "")
    token = told.removeprefix(BEARER) if told.startswith(BEARER) else ""
    found = scale_behind(token, code) if token else None
    if found is None:
        response = _plain(401, _("That is no token of the scale of this bench."))
        response.headers["WWW-Authenticate"] = "Bearer"
        return response
    form = ReadingForm(_sent(request))
    form.is_valid()
    mass, stable = form.cleaned_data.get("g"), form.cleaned_data.get("stable", False)
    try:
        with at_the_workshop():
            take_reading(scale=found, mass_mg=mass, stable=stable, now=clock.now())
    except TooOften as error:
        return _plain(429, sentence(error))
    except LotwardError as error:
        return _plain(422, sentence(error))
    return HttpResponse(status=204)


def _sent(request: HttpRequest) -> Any:
    """What was sent, as a form or as JSON; nothing where it is neither."""
    if request.content_type != "application/json":
        return request.POST
    try:
        said = json.loads(request.body, parse_float=str, parse_int=str)
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


def _plain(status: int, words: str) -> HttpResponse:
    return HttpResponse(f"{words}\n", status=status, content_type="text/plain")
