"""Lots from a file: a template for it, what it would bring, then the taking in."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.delimited import Problem
from kitting.domain.intakeheads import HEADINGS, TRANSLATED
from kitting.ledger import clock
from kitting.lots.forms.files import FileForm, TakeInFileForm, packed
from kitting.lots.services import files
from kitting.lots.services.files import Plan
from kitting.web.acting import OK, UNFIT, attempt, say_and_go
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, add_refusal, allowed, render_part
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

LANGUAGES: Final = {"en": "English", "de": "Deutsch", "fr": "Français"}
"""Languages in which a file may have its headings, by their own names."""
MOST_SHOWN = 200
"""Lots or faults of a file that the page lists."""


@allowed("kitting.take_in", "GET", "POST")
def lot_file(request: LotwardRequest) -> HttpResponseBase:
    """Give a template, look at a file, or take in one that was looked at."""
    if request.method != "POST":
        words = TRANSLATED.get(request.GET.get("in", ""), HEADINGS)
        columns = [Column(word, str) for word in words]
        template = file_response(request, "lots", columns, ())
        return template or _answer(request, form=FileForm())
    if "table" in request.POST:
        return _bring_in(request)
    form = FileForm(request.POST, request.FILES)
    if not form.is_valid():
        return _answer(request, form=form, status=UNFIT)
    return _look(request, form)


def _look(request: LotwardRequest, form: FileForm) -> HttpResponse:
    data, order = form.cleaned_data["file"], form.cleaned_data["date_order"]
    plan = files.plan_file(data=data, date_order=order or None, now=clock.now())
    if plan.problems:
        error = files.problems_of(plan)
        add_refusal(form, error)
        return _answer(request, form=form, plan=plan, status=UNFIT)
    send = TakeInFileForm(initial={"table": packed(data), "date_order": order})
    if plan.questions:
        send.ask_why()
    return _answer(request, form=FileForm(), plan=plan, send=send)


def _bring_in(request: LotwardRequest) -> HttpResponse:
    send = TakeInFileForm(request.POST)
    done, status = attempt(request, send, files.take_in_file)
    if done is not None:
        said = _("The file is taken in: %(lots)s, %(bags)s.") % {
            "lots": amount(len(done.lots), "lot"),
            "bags": amount(len(done.bags), "bag"),
        }
        return say_and_go(request, said, reverse("kitting:lots"))
    plan = None
    if data := send.cleaned_data.get("table"):
        order = send.cleaned_data.get("date_order") or None
        plan = files.plan_file(data=data, date_order=order, now=clock.now())
    return _answer(request, form=FileForm(), plan=plan, send=send, status=status)


def _answer(
    request: LotwardRequest,
    *,
    form: FileForm,
    plan: Plan | None = None,
    send: TakeInFileForm | None = None,
    status: int = OK,
) -> HttpResponse:
    context: dict[str, Any] = {
        "form": form,
        "send": send,
        "plan": plan,
        "faults": told(plan.problems)[:MOST_SHOWN] if plan else [],
        "questions": told(plan.questions)[:MOST_SHOWN] if plan else [],
        "most": MOST_SHOWN,
        "headings": HEADINGS,
        "templates": LANGUAGES,
        "act": _("Look at the file"),
    }
    return render_part(
        request, "kitting/lots/lot_file", "_lot_file", context, status=status
    )


def told(problems: Iterable[Problem]) -> list[dict[str, object]]:
    """Faults of a file, or questions about it, with their sentences."""
    return [
        {
            "line": problem.line,
            "column": problem.column,
            "value": problem.value,
            "reason": sentence(problem.as_error()),
        }
        for problem in problems
    ]
