"""Pages on which the quality officer begins reduced inspection, and ends it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from kitting.checking.forms.inspection import ClassForm, ReduceForm, RestoreForm
from kitting.checking.queries.checks import aqls_of
from kitting.checking.queries.switching import standings_of
from kitting.checking.services import switching as services
from kitting.checking.services.switching import Target
from kitting.web.acting import OK, attempt
from kitting.web.http import allowed, go, render_part

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse

    from kitting.checking.services.switching import Switched
    from kitting.ledger.operations import Sign
    from kitting.models import Part
    from kitting.web.forms import KeyedForm
    from kitting.web.http import LotwardRequest


@dataclass(frozen=True)
class Chosen:
    """The class that the address names."""

    part: Part
    source: str
    grade: Any

    @property
    def target(self) -> Target:
        """The same for a service."""
        return Target(self.part.pk, self.source, self.grade)

    @property
    def back(self) -> str:
        """The address of the source's page."""
        query = urlencode({"part": self.part.code, "source": self.source})
        return f"{reverse('kitting:inspection')}?{query}"


@dataclass(frozen=True)
class Words:
    """What a page calls its act, and what it says once it is done."""

    part: str
    act: str
    said: str


@allowed("kitting.accept_under_concession")
@require_http_methods(["GET", "POST"])
def reduce(request: LotwardRequest) -> HttpResponse:
    """Begin reduced inspection of a class of a part from a source."""
    chosen = _chosen(request)
    form = ReduceForm(request.POST or None)

    def act(sign: Sign) -> Switched:
        return services.reduce_inspection(
            of=chosen.target,
            steady=form.cleaned_data["steady"],
            reason=form.cleaned_data["reason"],
            sign=sign,
        )

    words = Words(
        "inspection-reduce",
        _("Begin reduced inspection"),
        _("%(part)s from %(source)s is on reduced inspection from its next lot on."),
    )
    return _page(request, chosen, form, act, words)


@allowed("kitting.accept_under_concession")
@require_http_methods(["GET", "POST"])
def restore(request: LotwardRequest) -> HttpResponse:
    """End reduced inspection of a class of a part from a source."""
    chosen = _chosen(request)
    form = RestoreForm(request.POST or None)

    def act(sign: Sign) -> Switched:
        return services.restore_inspection(
            of=chosen.target, reason=form.cleaned_data["reason"], sign=sign
        )

    words = Words(
        "inspection-restore",
        _("Back to normal inspection"),
        _("%(part)s from %(source)s is on normal inspection from its next lot on."),
    )
    return _page(request, chosen, form, act, words)


def _chosen(request: LotwardRequest) -> Chosen:
    found = ClassForm(request.GET).chosen()
    if not {"part", "source", "grade"} <= found.keys():
        raise Http404("No part, source and class were named.")
    return Chosen(found["part"], found["source"], found["grade"])


def _page(
    request: LotwardRequest,
    chosen: Chosen,
    form: KeyedForm,
    act: Callable[[Sign], Switched],
    words: Words,
) -> HttpResponse:
    status = OK
    if request.method == "POST":
        done, status = attempt(request, form, act)
        if done is not None:
            named = {"part": chosen.part.name, "source": chosen.source}
            messages.success(request, words.said % named)
            return go(request, chosen.back)
    part, source = chosen.part, chosen.source
    return render_part(
        request,
        page=f"kitting/checking/{words.part.replace('-', '_')}.html",
        part="_form.html",
        context={
            "of": part,
            "source": source,
            "grade": chosen.grade,
            "now": standings_of(part.pk, source, aqls_of(part))[chosen.grade],
            "form": form,
            "act": words.act,
            "part": words.part,
            "back": chosen.back,
            "here": "kitting:lots",
        },
        status=status,
    )
