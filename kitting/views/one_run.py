"""Pages of one run: bags on and off, closing, giving up, the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
)

from kitting.domain.errors import Missing, Refused
from kitting.domain.shown import shown
from kitting.domain.stages import BagStage, RunStage
from kitting.forms.runs import CloseRunForm, EarlyOffForm, GiveUpForm, LineScanForm
from kitting.models import Bag, Run
from kitting.models.runs import Moment
from kitting.queries import runs as queries
from kitting.queries import scans
from kitting.services import runs
from kitting.templatetags.doses import seconds
from kitting.views.acting import OK, attempt
from kitting.views.runs import run_address
from lotward.http import (
    allowed,
    get_or_404,
    go,
    new_op_key,
    render_part,
    wants_fragment,
)

if TYPE_CHECKING:
    from django.http import HttpResponse

    from kitting.operations import Sign
    from lotward.http import LotwardRequest


def _run(number: str) -> Run:
    found = Run.objects.select_related("line", "protocol", "meter")
    return get_or_404(found.prefetch_related("readings", "verdicts"), number=number)


def _context(request: LotwardRequest, run: Run, **more: Any) -> dict[str, Any]:
    stays = queries.stays_of(run, timezone.now())
    is_open = run.stage == RunStage.OPEN
    context = {
        "run": run,
        "held": queries.is_held(run),
        "is_open": is_open,
        "on": [(stay, new_op_key()) for stay in stays if stay.off_at is None],
        "off": [stay for stay in stays if stay.off_at is not None],
        "points": queries.points_of(run.readings.all()),
        "doses": queries.expected_doses(run) if is_open else run.verdicts.all(),
        "whole_time_ms": run.exposure_ms * run.passes,
        "may_run": request.user.has_perm("kitting.run_line"),
        "scan_key": new_op_key(),
        "given_up": "" if is_open else queries.why_given_up(run),
        "loads": run.protocol.loads.select_related("part", "revision"),
        "here": "kitting:runs",
    }
    context.update(more)
    context.setdefault("scan", LineScanForm())
    return context


def _show(
    request: LotwardRequest,
    run: Run,
    *,
    part: str = "kitting/_run_line.html",
    status: int = OK,
    **more: Any,
) -> HttpResponse:
    return render_part(
        request,
        page="kitting/run_detail.html",
        part=part,
        context=_context(request, run, **more),
        status=status,
    )


@allowed("kitting.see_work")
@require_GET
def run_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """One run; htmx asks for the list of its bags again and again."""
    return _show(request, _run(number), part="kitting/_run_bags.html")


@allowed("kitting.run_line")
@require_POST
def run_scan(request: LotwardRequest, number: str) -> HttpResponse:
    """Take one scan: the bag goes on the line, or comes off it."""
    run = _run(number)
    form = LineScanForm(request.POST)
    done, status = attempt(
        request, form, lambda sign: _scan(run, form.cleaned_data["read"], sign)
    )
    return _after_line_act(request, run, form, done, status)


@allowed("kitting.run_line")
@require_POST
def run_early(request: LotwardRequest, number: str) -> HttpResponse:
    """Take a bag off before its passes are over."""
    run = _run(number)
    form = EarlyOffForm(request.POST)
    done, status = attempt(request, form, lambda sign: _early(run, form, sign))
    return _after_line_act(request, run, form, done, status)


def _after_line_act(
    request: LotwardRequest,
    run: Run,
    form: LineScanForm | EarlyOffForm,
    done: runs.OnLine | None,
    status: int,
) -> HttpResponse:
    if done is None:
        return _show(request, run, status=status, scan=form)
    said = _said(run, done)
    if wants_fragment(request):
        return _show(request, run, said=said)
    messages.success(request, said)
    return go(request, run_address(run))


def _said(run: Run, done: runs.OnLine) -> str:
    if done.stage == BagStage.IN_RUN:
        whole = -(-run.exposure_ms * run.passes // 1000)
        words = _("Bag %(bag)s is on the line. Its passes take %(time)s.")
        return words % {"bag": done.bag, "time": seconds(whole)}
    return _("Bag %(bag)s is off the line.") % {"bag": done.bag}


def _scan(run: Run, text: str, sign: Sign) -> runs.OnLine:
    return runs.scan_bag(run_id=run.pk, bag_id=_bag(text).pk, sign=sign)


def _early(run: Run, form: EarlyOffForm, sign: Sign) -> runs.OnLine:
    bag = _bag(form.cleaned_data["bag"])
    return runs.take_off(run_id=run.pk, bag_id=bag.pk, sign=sign, short=True)


def _bag(text: str) -> Bag:
    try:
        found = scans.read(text)
    except Missing as error:  # a slip of the scanner, not a page that is not there
        raise Refused(error.code, **error.params) from None
    if not isinstance(found.row, Bag):
        raise Refused("not_a_bag_number", read=shown(text))
    return found.row


@allowed("kitting.run_line")
@require_http_methods(["GET", "POST"])
def run_close(request: LotwardRequest, number: str) -> HttpResponse:
    """Close a run with the closing readings."""
    run = _run(number)
    before = {
        (row.point, row.side): row.uw_cm2
        for row in run.readings.all()
        if row.moment == Moment.OPENING
    }
    form = CloseRunForm(request.POST or None, places=sorted(before), before=before)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: runs.close_run(run_id=run.pk, readings=form.values, sign=sign),
        )
        if done is not None:
            _say_verdict(request, done)
            return go(request, run_address(run))
    return render_part(
        request,
        page="kitting/run_close.html",
        part="kitting/_run_close_form.html",
        context=_context(request, run, form=form),
        status=status,
    )


def _say_verdict(request: LotwardRequest, done: runs.Judged) -> None:
    if done.stage == RunStage.RELEASED:
        messages.success(request, _("Run %(run)s is released.") % {"run": done.run})
    else:
        words = _("Run %(run)s failed. Its bags are back at accepted.")
        messages.error(request, words % {"run": done.run})


@allowed("kitting.run_line")
@require_http_methods(["GET", "POST"])
def run_give_up(request: LotwardRequest, number: str) -> HttpResponse:
    """End a run that cannot be closed with readings."""
    run = _run(number)
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
                "Run %(run)s is given up; %(bags)s bag is back at accepted.",
                "Run %(run)s is given up; %(bags)s bags are back at accepted.",
                done.bags,
            )
            messages.warning(request, words % {"run": done.run, "bags": done.bags})
            return go(request, run_address(run))
    return render_part(
        request,
        page="kitting/run_give_up.html",
        part="_form.html",
        context=_context(
            request,
            run,
            form=form,
            act=_("Give up run %(run)s") % {"run": run.number},
            part="run-give-up",
            stop=True,
            back=run_address(run),
        ),
        status=status,
    )
