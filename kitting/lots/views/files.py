"""Lots from a file: first what it would bring, then the taking in."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.intakefile import HEADINGS
from kitting.ledger import clock
from kitting.lots.forms.files import FileForm, TakeInFileForm, packed
from kitting.lots.services import files
from kitting.lots.services.files import Plan
from kitting.web.acting import OK, UNFIT, attempt, say_and_go
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, add_refusal, allowed, render_part
from kitting.web.messages import sentence

MOST_SHOWN = 200
"""Lots or faults of a file that the page lists."""


@allowed("kitting.take_in", "GET", "POST")
def lot_file(request: LotwardRequest) -> HttpResponse:
    """Look at a file, or take in one that was looked at."""
    if request.method != "POST":
        return _answer(request, form=FileForm())
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
        "faults": faults_of(plan)[:MOST_SHOWN] if plan else [],
        "most": MOST_SHOWN,
        "headings": HEADINGS,
        "act": _("Look at the file"),
    }
    return render_part(
        request, "kitting/lots/lot_file", "_lot_file", context, status=status
    )


def faults_of(plan: Plan) -> list[dict[str, object]]:
    """The faults of a file with their sentences."""
    return [
        {
            "line": problem.line,
            "column": problem.column,
            "value": problem.value,
            "reason": sentence(problem.as_error()),
        }
        for problem in plan.problems
    ]
