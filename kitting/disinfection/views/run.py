"""The page of one run: bags and carriers on and off, what it has given so far."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.disinfection.forms.runs import EarlyOffForm, LineScanForm
from kitting.disinfection.queries import doses
from kitting.disinfection.queries import runs as queries
from kitting.disinfection.queries.lamps import lamps
from kitting.disinfection.services import runs
from kitting.disinfection.views.runs import run_address
from kitting.domain.errors import Missing, Refused
from kitting.domain.shown import shown
from kitting.domain.stages import BagStage, RunStage
from kitting.ledger import clock
from kitting.ledger.operations import Sign
from kitting.models import Bag, Carrier, Run
from kitting.web import scans
from kitting.web.acting import OK, attempt
from kitting.web.figures import seconds
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    go,
    new_op_key,
    render_part,
    wants_fragment,
)


def find_run(number: str) -> Run:
    found = Run.objects.select_related("line", "protocol", "meter")
    return get_or_404(found.prefetch_related("readings", "verdicts"), number=number)


def context_of(request: LotwardRequest, run: Run, **more: Any) -> dict[str, Any]:
    stays = queries.stays_of(run, clock.now())
    is_open = run.stage == RunStage.OPEN
    context = {
        "run": run,
        "held": queries.is_held(run),
        "is_open": is_open,
        "on": [(stay, new_op_key()) for stay in stays if stay.off_at is None],
        "off": [stay for stay in stays if stay.off_at is not None],
        "points": queries.points_of(run.readings.all()),
        "doses": doses.expected_doses(run) if is_open else run.verdicts.all(),
        "inverses": doses.inverses(run),
        "by_hold": doses.held(run),
        "dosimeters": run.dosimeters.all(),
        "stops": doses.stops(run),
        # Those that burn now; they say nothing of a run that is over.
        "lamps": lamps(run.line_id) if is_open else [],
        "whole_time_ms": run.exposure_ms * run.passes,
        "may_run": request.user.has_perm("kitting.run_line"),
        "scan_key": new_op_key(),
        "moved": wants_fragment(request),
        "given_up": "" if is_open else queries.why_given_up(run),
        "evidence": ", ".join(run.protocol.evidence.split("\n")),
        "loads": run.protocol.loads.select_related("part", "revision"),
    }
    context.update(more)
    context.setdefault("scan", LineScanForm())
    return context


def _show(
    request: LotwardRequest,
    run: Run,
    *,
    part: str = "_run_line",
    status: int = OK,
    **more: Any,
) -> HttpResponse:
    return render_part(
        request,
        "kitting/disinfection/run_detail",
        part,
        context_of(request, run, **more),
        status=status,
    )


@allowed("kitting.see_work")
def run_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """One run; htmx asks for the list of its bags again and again."""
    return _show(request, find_run(number), part="_run_bags")


@allowed("kitting.run_line", "POST")
def run_scan(request: LotwardRequest, number: str) -> HttpResponse:
    """Take one scan: the bag goes on the line, or comes off it."""
    run = find_run(number)
    form = LineScanForm(request.POST)
    done, status = attempt(request, form, partial(_scan, run))
    return _after_line_act(request, run, form, done, status)


@allowed("kitting.run_line", "POST")
def run_early(request: LotwardRequest, number: str) -> HttpResponse:
    """Take a bag off before its passes are over."""
    run = find_run(number)
    form = EarlyOffForm(request.POST)
    done, status = attempt(request, form, partial(_early, run))
    return _after_line_act(request, run, form, done, status)


def _after_line_act(
    request: LotwardRequest,
    run: Run,
    form: LineScanForm | EarlyOffForm,
    done: runs.OnLine | runs.CarrierOnLine | None,
    status: int,
) -> HttpResponse:
    if done is None:
        return _show(request, run, status=status, scan=form)
    said = _said(run, done)
    if wants_fragment(request):
        return _show(request, run, said=said)
    messages.success(request, said)
    return go(request, run_address(run))


def _said(run: Run, done: runs.OnLine | runs.CarrierOnLine) -> str:
    on = done.stage == BagStage.IN_RUN
    whole = seconds(-(-run.exposure_ms * run.passes // 1000))
    if isinstance(done, runs.OnLine):
        words = (
            _("Bag %(bag)s is on the line. Its passes need %(time)s.")
            if on
            else _("Bag %(bag)s is off the line.")
        )
    elif on:
        words = ngettext(
            "Carrier %(carrier)s is on the line with %(bags)s bag. Its passes"
            " need %(time)s.",
            "Carrier %(carrier)s is on the line with %(bags)s bags. Their"
            " passes need %(time)s.",
            done.bags,
        )
    else:
        words = ngettext(
            "Carrier %(carrier)s is off the line with %(bags)s bag.",
            "Carrier %(carrier)s is off the line with %(bags)s bags.",
            done.bags,
        )
    return words % {**vars(done), "time": whole}


def _scan(run: Run, *, read: str, sign: Sign) -> runs.OnLine | runs.CarrierOnLine:
    found = _bag_or_carrier(read)
    if isinstance(found, Carrier):
        return runs.scan_carrier(run_id=run.pk, carrier_id=found.pk, sign=sign)
    return runs.scan_bag(run_id=run.pk, bag_id=found.pk, sign=sign)


def _early(run: Run, *, bag: str, sign: Sign) -> runs.OnLine:
    found = _bag_or_carrier(bag)
    if not isinstance(found, Bag):
        raise Refused("not_a_bag_number", read=shown(bag))
    return runs.take_off(run_id=run.pk, bag_id=found.pk, sign=sign, short=True)


def _bag_or_carrier(text: str) -> Bag | Carrier:
    try:
        found = scans.read(text)
    except Missing as error:  # a slip of the scanner, not a page that is not there
        raise Refused(error.code, **error.params) from None
    if not isinstance(found.row, Bag | Carrier):
        raise Refused("not_a_bag_number", read=shown(text))
    return found.row
