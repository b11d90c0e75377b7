"""How a run ends: closing with readings, giving up; and the line that stopped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from kitting.disinfection.forms.dosimeters import ValuesForm
from kitting.disinfection.forms.runs import (
    SIDE_WORDS,
    CloseRunForm,
    GiveUpForm,
    StopForm,
)
from kitting.disinfection.services import runs
from kitting.disinfection.views.run import context_of, find_run
from kitting.disinfection.views.runs import run_address
from kitting.domain.shown import spaced
from kitting.domain.stages import RunStage
from kitting.models.runs import UVC, Moment, Side
from kitting.web.acting import OK, attempt
from kitting.web.http import allowed, go, render_part

if TYPE_CHECKING:
    from django.http import HttpResponse

    from kitting.models import Run
    from kitting.web.http import LotwardRequest


def _close_form(request: LotwardRequest, run: Run) -> CloseRunForm:
    before = {
        (row.point, row.side): row.uw_cm2
        for row in run.readings.all()
        if row.moment == Moment.OPENING
    }
    required = run.protocol.required()
    return CloseRunForm(
        request.POST or None,
        places=sorted(before, key=lambda place: (place[0], place[1] != Side.TOP)),
        before=before,
        sides=[(side, str(SIDE_WORDS[side])) for side in required],
    )


@allowed("kitting.run_line")
@require_http_methods(["GET", "POST"])
def run_close(request: LotwardRequest, number: str) -> HttpResponse:
    """Close a run with the closing readings."""
    run = find_run(number)
    form = _close_form(request, run)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: runs.close_run(
                run_id=run.pk,
                readings=form.values,
                dosimeters=form.dosed,
                sign=sign,
            ),
        )
        if done is not None:
            _say_verdict(request, done)
            return go(request, run_address(run))
    return render_part(
        request,
        page="kitting/disinfection/run_close.html",
        part="kitting/disinfection/_run_close_form.html",
        context=context_of(request, run, form=form),
        status=status,
    )


def _say_verdict(request: LotwardRequest, done: runs.Judged) -> None:
    if done.stage == RunStage.RELEASED:
        messages.success(request, _("Run %(run)s is released.") % {"run": done.run})
    else:
        words = _("Run %(run)s failed. Its bags are at stage accepted again.")
        messages.error(request, words % {"run": done.run})


@allowed("kitting.run_line")
@require_http_methods(["GET", "POST"])
def run_give_up(request: LotwardRequest, number: str) -> HttpResponse:
    """End a run that cannot be closed with readings."""
    run = find_run(number)
    form = GiveUpForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: runs.give_up_run(
                run_id=run.pk, reason=form.cleaned_data["reason"], sign=sign
            ),
        )
        if done is not None:
            words = ngettext(
                "Run %(run)s is given up; %(bags)s bag is at stage accepted again.",
                "Run %(run)s is given up; %(bags)s bags are at stage accepted again.",
                done.bags,
            )
            messages.warning(request, words % {"run": done.run, "bags": done.bags})
            return go(request, run_address(run))
    return render_part(
        request,
        page="kitting/disinfection/run_give_up.html",
        part="_form.html",
        context=context_of(
            request,
            run,
            form=form,
            act=_("Give up run %(run)s") % {"run": spaced(run.number)},
            part="run-give-up",
            stop=True,
            back=run_address(run),
        ),
        status=status,
    )


@allowed("kitting.run_line")
@require_http_methods(["GET", "POST"])
def run_stop(request: LotwardRequest, number: str) -> HttpResponse:
    """Record that the line stopped: what lies on it has had no pass."""
    run = find_run(number)
    form = StopForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: runs.stop_line(
                run_id=run.pk, reason=form.cleaned_data["reason"], sign=sign
            ),
        )
        if done is not None:
            words = ngettext(
                "The line stopped; %(bags)s bag is at stage accepted again. The run"
                " goes on.",
                "The line stopped; %(bags)s bags are at stage accepted again. The run"
                " goes on.",
                done.bags,
            )
            messages.warning(request, words % {"bags": done.bags})
            return go(request, run_address(run))
    return render_part(
        request,
        page="kitting/disinfection/run_stop.html",
        part="_form.html",
        context=context_of(
            request,
            run,
            form=form,
            act=_("Set every bag on the line to accepted"),
            part="run-stop",
            stop=True,
            back=run_address(run),
        ),
        status=status,
    )


@allowed("kitting.run_line")
@require_http_methods(["GET", "POST"])
def run_values(request: LotwardRequest, number: str) -> HttpResponse:
    """Log values of a run by heat or liquid."""
    run = find_run(number)
    form = ValuesForm(request.POST or None, run=run, workshop=request.workshop)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: runs.log_values(run_id=run.pk, values=form.values, sign=sign),
        )
        if done is not None:
            words = ngettext(
                "%(values)s value is logged.",
                "%(values)s values are logged.",
                done.values,
            )
            messages.success(request, words % {"values": done.values})
            return go(request, run_address(run))
    return render_part(
        request,
        page="kitting/disinfection/run_values.html",
        part="_form.html",
        context=context_of(
            request,
            run,
            form=form,
            act=_("Log what was measured"),
            part="run-values",
            back=run_address(run),
            by_light=run.protocol.process in UVC,
        ),
        status=status,
    )
