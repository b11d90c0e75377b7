"""How a run ends: closing with readings, giving up; and the line that stopped."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from django.contrib import messages
from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.disinfection.forms.runs import SIDE_WORDS
from kitting.disinfection.forms.verdicts import CloseRunForm, GiveUpForm, StopForm
from kitting.disinfection.services.verdicts import close_run, give_up_run, stop_line
from kitting.disinfection.views.run import context_of, find_run
from kitting.disinfection.views.runs import run_address
from kitting.domain.shown import spaced
from kitting.domain.stages import RunStage
from kitting.models import Run
from kitting.models.runs import Moment, Side
from kitting.web.acting import act_page, attempt
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, go, render_part

T = TypeVar("T")


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
        by=str(request.user),
        sides=[(side, str(SIDE_WORDS[side])) for side in required],
    )


@allowed("kitting.run_line", "GET", "POST")
def run_close(request: LotwardRequest, number: str) -> HttpResponse:
    """Close a run with the closing readings."""
    run = find_run(number)
    form = _close_form(request, run)
    done, status = attempt(request, form, partial(close_run, run_id=run.pk))
    if done is None:
        return render_part(
            request,
            "kitting/disinfection/run_close",
            "_run_close_form",
            context_of(request, run, form=form),
            status=status,
        )
    if done.stage == RunStage.RELEASED:
        messages.success(request, _("Run %(run)s is released.") % vars(done))
    else:
        words = _("Run %(run)s failed. Its bags are at stage accepted again.")
        messages.error(request, words % vars(done))
    return go(request, run_address(run))


def _act_page(
    request: LotwardRequest,
    page: str,
    run: Run,
    form: KeyedForm,
    act: Callable[..., T],
    said: Callable[[T], str],
    /,
    **context: Any,
) -> HttpResponse:
    return act_page(
        request,
        f"kitting/disinfection/{page}",
        form,
        partial(act, run_id=run.pk),
        said=lambda done: said(done) % vars(done),
        to=run_address(run),
        around=lambda: context_of(request, run),
        **context,
    )


@allowed("kitting.run_line", "GET", "POST")
def run_give_up(request: LotwardRequest, number: str) -> HttpResponse:
    """End a run that cannot be closed with readings."""
    run = find_run(number)
    return _act_page(
        request,
        "run_give_up",
        run,
        GiveUpForm(request.POST or None),
        give_up_run,
        lambda done: ngettext(
            "Run %(run)s is given up; %(bags)s bag is at stage accepted again.",
            "Run %(run)s is given up; %(bags)s bags are at stage accepted again.",
            done.bags,
        ),
        level=messages.WARNING,
        act=_("Give up run %(run)s") % {"run": spaced(run.number)},
        stop=True,
    )


@allowed("kitting.run_line", "GET", "POST")
def run_stop(request: LotwardRequest, number: str) -> HttpResponse:
    """Record that the line stopped: what lies on it has had no pass."""
    return _act_page(
        request,
        "run_stop",
        find_run(number),
        StopForm(request.POST or None),
        stop_line,
        lambda done: ngettext(
            "The line stopped; %(bags)s bag is at stage accepted again. The run"
            " goes on.",
            "The line stopped; %(bags)s bags are at stage accepted again. The run"
            " goes on.",
            done.bags,
        ),
        level=messages.WARNING,
        act=_("Set every bag on the line to accepted"),
        stop=True,
    )
