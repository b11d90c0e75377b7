"""What the quality officer decides about a source: inspection reduced, restored, resumed."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.checking.forms import (
    ClassForm,
    ReduceForm,
    RestoreForm,
    ResumeForm,
    SourceFilterForm,
)
from kitting.checking.queries.checks import aqls_of
from kitting.checking.queries.switching import standings_of, states_of
from kitting.checking.services.switching import (
    Switched,
    Target,
    reduce_inspection,
    restore_inspection,
    resume_source,
)
from kitting.models import Part
from kitting.web.acting import act_page
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed


@allowed("kitting.accept_under_concession", "GET", "POST")
def resume(request: LotwardRequest) -> HttpResponse:
    """Let a stopped source deliver a part again."""
    chosen = SourceFilterForm(request.GET).chosen()
    if "part" not in chosen or "source" not in chosen:
        raise Http404("No part and source were named.")
    part: Part = chosen["part"]
    source: str = chosen["source"]
    query = urlencode({"part": part.code, "source": source})
    said = _("%(part)s from %(source)s may be accepted again.")
    return act_page(
        request,
        "kitting/checking/inspection_resume",
        ResumeForm(request.POST or None),
        partial(resume_source, part_id=part.pk, source=source),
        said=said,
        named={"part": part.name, "source": source},
        to=f"{reverse('kitting:inspection')}?{query}",
        around=lambda: {"states": states_of(part.pk, source)},
        of=part,
        source=source,
        act=_("Allow the source again"),
    )


@allowed("kitting.accept_under_concession", "GET", "POST")
def reduce(request: LotwardRequest) -> HttpResponse:
    """Begin reduced inspection of a class of a part from a source."""
    return _page(
        request,
        "inspection_reduce",
        ReduceForm(request.POST or None, by=str(request.user)),
        reduce_inspection,
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
        restore_inspection,
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
        partial(service, of=Target(part.pk, source, grade)),
        said=said,
        named={"part": part.name, "source": source},
        to=f"{reverse('kitting:inspection')}?{query}",
        around=lambda: {"now": standings_of(part.pk, source, aqls_of(part))[grade]},
        of=part,
        source=source,
        grade=grade,
        **context,
    )
