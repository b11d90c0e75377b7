"""Pages on which the quality officer begins reduced inspection, and ends it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.checking.forms import ClassForm, ReduceForm, RestoreForm
from kitting.checking.queries.checks import aqls_of
from kitting.checking.queries.switching import standings_of
from kitting.checking.services import switching as services
from kitting.checking.services.switching import Switched
from kitting.web.acting import act_page
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed


@allowed("kitting.accept_under_concession", "GET", "POST")
def reduce(request: LotwardRequest) -> HttpResponse:
    """Begin reduced inspection of a class of a part from a source."""
    return _page(
        request,
        "inspection_reduce",
        ReduceForm(request.POST or None),
        services.reduce_inspection,
        _("%(part)s from %(source)s is on reduced inspection from its next lot on."),
        act=_("Begin reduced inspection"),
    )


@allowed("kitting.accept_under_concession", "GET", "POST")
def restore(request: LotwardRequest) -> HttpResponse:
    """End reduced inspection of a class of a part from a source."""
    return _page(
        request,
        "inspection_restore",
        RestoreForm(request.POST or None),
        services.restore_inspection,
        _("%(part)s from %(source)s is on normal inspection from its next lot on."),
        act=_("Back to normal inspection"),
    )


def _page(
    request: LotwardRequest,
    page: str,
    form: KeyedForm,
    service: Callable[..., Switched],
    said: str,
    **context: Any,
) -> HttpResponse:
    chosen = ClassForm(request.GET).chosen()
    if not {"part", "source", "grade"} <= chosen.keys():
        raise Http404("No part, source and class were named.")
    part, source, grade = chosen["part"], chosen["source"], chosen["grade"]
    query = urlencode({"part": part.code, "source": source})
    return act_page(
        request,
        f"kitting/checking/{page}",
        form,
        partial(service, of=services.Target(part.pk, source, grade)),
        said=said % {"part": part.name, "source": source},
        to=f"{reverse('kitting:inspection')}?{query}",
        around=lambda: {"now": standings_of(part.pk, source, aqls_of(part))[grade]},
        of=part,
        source=source,
        grade=grade,
        **context,
    )
